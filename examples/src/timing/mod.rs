//! Shared parts of the timing programs here and in `benches`: test signal, processors to time, and machine description.

pub mod block_processor;
pub mod machine;
pub mod test_signal;
