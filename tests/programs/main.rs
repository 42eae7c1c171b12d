//! The example programs as users run them: their output, their refusals, and the files that they leave.

mod audition;
mod bad_input;
mod delivery;
mod demo_faults;
mod directory;
mod embed_strip;
mod ledger;
mod long_recordings;
mod measure;
mod measure_voice;
mod mix_interview;
mod options;
mod real_speech;
