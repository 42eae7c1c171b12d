//! What the programs that measure time share, here and in `benches`: the signal, the work to measure, and the machine.

pub mod block_processor;
pub mod machine;
pub mod test_signal;
