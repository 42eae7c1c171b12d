//! Benchmark of loudness and true-peak metering: our meters against the crate `ebur128`. Elements are frames.

use criterion::{Criterion, SamplingMode, Throughput, criterion_group, criterion_main};
use std::time::Duration;
use voicechain_benches::{RATE_HZ, reference_libraries};
use voicechain_core::SampleRate;
use voicechain_examples::timing::test_signal;

const FRAMES: usize = 10 * 48_000;
const BLOCK: usize = 512;

fn benches(c: &mut Criterion) {
    let rate = SampleRate::new(RATE_HZ).expect("a rate within its range");
    let signal = test_signal::speech_like(FRAMES, rate);
    let mut group = c.benchmark_group("metering");
    group.sampling_mode(SamplingMode::Flat).sample_size(20);
    group.warm_up_time(Duration::from_millis(200)).measurement_time(Duration::from_secs(1));
    group.throughput(Throughput::Elements(FRAMES as u64));
    group.bench_function("ours", |b| b.iter(|| reference_libraries::our_meters(&signal, BLOCK, false, rate)));
    group.bench_function("ours_read_every_100_ms", |b| {
        b.iter(|| reference_libraries::our_meters(&signal, BLOCK, true, rate))
    });
    group.bench_function("ebur128", |b| b.iter(|| reference_libraries::ebur128(&signal, BLOCK, rate)));
}

criterion_group!(metering, benches);
criterion_main!(metering);
