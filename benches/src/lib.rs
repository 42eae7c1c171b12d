//! What the programs of this package share: the other libraries, and how a signal is run in blocks. The signal, the work to
//! measure and the machine are `timing` in the examples.
//!
//! `cargo bench -p voicechain-benches` measures every stage, the meters and the strip per block size, and the cascade
//! and the meters beside other libraries. `cargo run --release -p voicechain-benches --bin ratios` compares in turns and
//! prints ratios. `benches/strip_vs_library.py` sets the whole strip against a Python library's simpler chain.

pub mod reference_libraries;

/// The rate at which everything here is measured, Hz.
pub const RATE_HZ: f64 = 48_000.0;

/// Runs through a signal in blocks of one length, each copied into `block` first. The copy is part of the cost, about
/// 0.1 to 0.3 ns per frame.
pub fn pass<const C: usize>(signal: &[[f32; C]], block: &mut [[f32; C]], mut run: impl FnMut(&mut [[f32; C]])) {
    for piece in signal.chunks_exact(block.len()) {
        block.copy_from_slice(piece);
        run(block);
    }
}
