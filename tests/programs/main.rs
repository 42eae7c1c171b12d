//! The example programs as a person runs them: what they write, what they refuse, and what they leave behind.

mod audition;
mod bad_input;
mod demo_faults;
mod directory;
mod long_recordings;
mod measure;
mod measure_voice;
mod mix_interview;
mod options;
mod real_speech;
