//! Benchmark of eight bells in stereo: our cascade against the crates `biquad` and `fundsp`. Elements are frames.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::time::Duration;
use voicechain_benches::{RATE_HZ, pass, reference_libraries};
use voicechain_core::SampleRate;
use voicechain_examples::timing::test_signal;

const FRAMES: usize = 48_000 / 512 * 512;

fn benches(c: &mut Criterion) {
    let rate = SampleRate::new(RATE_HZ).expect("a rate within its range");
    let signal = test_signal::speech_like(FRAMES, rate);
    let mut group = c.benchmark_group("cascade");
    group.sample_size(20).warm_up_time(Duration::from_millis(200)).measurement_time(Duration::from_secs(1));
    group.throughput(Throughput::Elements(FRAMES as u64));
    for length in [64, 512] {
        let candidates = [
            ("ours", reference_libraries::ours(rate)),
            ("biquad_f64", reference_libraries::biquad_f64(rate)),
            ("biquad_f32", reference_libraries::biquad_f32(rate)),
            ("fundsp_f64", reference_libraries::fundsp_f64(rate)),
            ("fundsp_f32", reference_libraries::fundsp_f32(rate)),
        ];
        let mut block = vec![[0.0; 2]; length];
        for (name, mut run) in candidates {
            group.bench_function(BenchmarkId::new(name, length), |b| {
                b.iter(|| pass(&signal, &mut block, &mut run));
            });
        }
    }
}

criterion_group!(cascade, benches);
criterion_main!(cascade);
