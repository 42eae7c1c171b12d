//! Reading and writing sound files, checked from outside with generated signals and with other decoders.

mod audio_file;
mod clips;
mod resample;
mod wav_file;
