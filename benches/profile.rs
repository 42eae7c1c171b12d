//! Benchmark of measuring a voice: the whole `ProfileMeter` at each sample rate. Elements are frames; the speed in
//! multiples of real time is 1 / (time per frame x sample rate).
//!
//!     cargo bench -p voicechain-benches --bench profile

use criterion::{BenchmarkId, Criterion, SamplingMode, Throughput, criterion_group, criterion_main};
use std::time::{Duration, Instant};
use voicechain_core::SampleRate;
use voicechain_core::measure::ProfileMeter;
use voicechain_examples::timing::test_signal;

const RATES_HZ: [f64; 4] = [44_100.0, 48_000.0, 96_000.0, 192_000.0];
const SECONDS: f64 = 6.0;
const BLOCK: usize = 512;

/// Measures all frames and reads the profile once.
fn measure_all<const C: usize>(frames: &[[f32; C]], rate: SampleRate) -> f64 {
    let mut meter = Box::new(ProfileMeter::<C>::new(rate));
    frames.chunks(BLOCK).for_each(|block| meter.push(block));
    meter.profile().duration_s
}

/// Prints the minimum time of five runs, in ns per frame and multiples of real time.
fn print<const C: usize>(frames: &[[f32; C]], rate: SampleRate) {
    let took = |_| {
        let start = Instant::now();
        std::hint::black_box(measure_all(frames, rate));
        start.elapsed().as_secs_f64()
    };
    let least = (0..5).map(took).fold(f64::INFINITY, f64::min);
    let (each, times) = (1e9 * least / frames.len() as f64, frames.len() as f64 / rate.hz() / least);
    println!("{} Hz, {C} channels: {each:.1} ns per frame, {times:.0} x real time", rate.hz());
}

fn benches(c: &mut Criterion) {
    let mut group = c.benchmark_group("profile");
    group.sampling_mode(SamplingMode::Flat).sample_size(10);
    group.warm_up_time(Duration::from_millis(200)).measurement_time(Duration::from_secs(1));
    for rate_hz in RATES_HZ {
        let rate = SampleRate::new(rate_hz).expect("a rate within its range");
        let stereo = test_signal::speech_like((SECONDS * rate_hz) as usize, rate);
        let mono: Vec<[f32; 1]> = stereo.iter().map(|&[left, _]| [left]).collect();
        print(&mono, rate);
        print(&stereo, rate);
        group.throughput(Throughput::Elements(stereo.len() as u64));
        group
            .bench_with_input(BenchmarkId::new("mono", rate_hz), &rate, |b, &rate| b.iter(|| measure_all(&mono, rate)));
        group.bench_with_input(BenchmarkId::new("stereo", rate_hz), &rate, |b, &rate| {
            b.iter(|| measure_all(&stereo, rate))
        });
    }
}

criterion_group!(profile, benches);
criterion_main!(profile);
