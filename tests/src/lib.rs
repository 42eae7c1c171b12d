//! What the tests share: signals, prototypes and measurements that do not come from the code under test.

pub mod recordings;
pub mod rooms;
pub mod signals;
pub mod spectra;
pub mod strips;
pub mod tones;
