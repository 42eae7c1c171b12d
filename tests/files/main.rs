//! Reading and writing of sound files, tested with generated signals and independent decoders.

mod audio_file;
mod clips;
mod resample;
mod wav_file;
