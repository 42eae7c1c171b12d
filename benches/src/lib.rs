//! Shared parts of the benchmarks: adapters for the reference libraries, and block-wise processing. Test signal, block
//! processors and machine description are in the module `timing` of the examples.
//!
//! - `cargo bench -p voicechain-benches` measures every stage, the meters and the strip per block size, and compares
//!   the cascade and the meters with other libraries.
//! - `cargo run --release -p voicechain-benches --bin ratios` compares interleaved runs and prints ratios.
//! - `benches/strip_vs_library.py` compares the whole strip with a simpler chain of a Python library.

pub mod reference_libraries;

/// Sample rate of all benchmarks, Hz.
pub const RATE_HZ: f64 = 48_000.0;

/// Processes a signal in blocks of equal length, each copied into `block` first. The measured time includes the copy,
/// about 0.1 to 0.3 ns per frame.
pub fn pass<const C: usize>(signal: &[[f32; C]], block: &mut [[f32; C]], mut run: impl FnMut(&mut [[f32; C]])) {
    for piece in signal.chunks_exact(block.len()) {
        block.copy_from_slice(piece);
        run(block);
    }
}
