//! What the programs that measure time share, here and in `benches`: the signal, the work to measure, and the machine.

pub mod machine;
pub mod voice;
pub mod work;
