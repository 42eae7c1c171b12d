//! Eight bells in stereo: our cascade beside the crates `biquad` and `fundsp`. Elements are frames.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use std::time::Duration;
use voicechain_benches::{RATE_HZ, pass, rivals};
use voicechain_core::SampleRate;
use voicechain_examples::timing::voice;

const FRAMES: usize = 48_000 / 512 * 512;

fn benches(c: &mut Criterion) {
    let rate = SampleRate::new(RATE_HZ).expect("a rate within its range");
    let signal = voice::speech_like(FRAMES, rate);
    let mut group = c.benchmark_group("cascade");
    group.sample_size(20).warm_up_time(Duration::from_millis(200)).measurement_time(Duration::from_secs(1));
    group.throughput(Throughput::Elements(FRAMES as u64));
    for length in [64, 512] {
        let contenders = [
            ("ours", rivals::ours(rate)),
            ("biquad_f64", rivals::biquad_f64(rate)),
            ("biquad_f32", rivals::biquad_f32(rate)),
            ("fundsp_f64", rivals::fundsp_f64(rate)),
            ("fundsp_f32", rivals::fundsp_f32(rate)),
        ];
        let mut block = vec![[0.0; 2]; length];
        for (name, mut run) in contenders {
            group.bench_function(BenchmarkId::new(name, length), |b| {
                b.iter(|| pass(&signal, &mut block, &mut run));
            });
        }
    }
}

criterion_group!(cascade, benches);
criterion_main!(cascade);
