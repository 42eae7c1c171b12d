//! Shared test code, independent of the code under test: signals, analog prototypes, measurements and recordings.

pub mod channels;
pub mod faults;
pub mod limiter_search;
pub mod recordings;
pub mod reference_meter;
pub mod rooms;
pub mod signals;
pub mod spectra;
pub mod strips;
pub mod tones;
