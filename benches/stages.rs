//! Benchmark of every stage, the meters and the strip, by block size, in mono and stereo. Elements are frames.

use criterion::measurement::WallTime;
use criterion::{BenchmarkGroup, BenchmarkId, Criterion, SamplingMode, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use std::time::Duration;
use voicechain_benches::{RATE_HZ, pass};
use voicechain_core::frame::{CHUNK, Frame};
use voicechain_core::meters::{ChannelWeights, LevelLedger, LoudnessMeter, TruePeakMeter};
use voicechain_core::settings::{StageId, StripSettings};
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, SettingError};
use voicechain_examples::timing::block_processor::{self, BLOCK_SIZES, BlockProcessor};
use voicechain_examples::timing::test_signal;

/// Frames per measured pass: one phrase and one pause of the signal.
const FRAMES: usize = 3 * 48_000 / 2_048 * 2_048;
/// Number of ledger points of a strip.
const LEDGER_POINTS: usize = StageId::ALL.len() + 1;

fn group<'a>(c: &'a mut Criterion, name: &str) -> BenchmarkGroup<'a, WallTime> {
    let mut group = c.benchmark_group(name);
    group.sampling_mode(SamplingMode::Flat).sample_size(20);
    group.warm_up_time(Duration::from_millis(100)).measurement_time(Duration::from_millis(600));
    group.throughput(Throughput::Elements(FRAMES as u64));
    group
}

fn bench_block_sizes<const C: usize>(
    c: &mut Criterion,
    name: &str,
    signal: &[[f32; C]],
    make: impl Fn() -> Result<BlockProcessor<C>, SettingError>,
) {
    let mut group = group(c, name);
    for length in BLOCK_SIZES {
        let mut work = make().expect("settings are within their ranges");
        let mut block = vec![[0.0; C]; length];
        group.bench_function(BenchmarkId::new(channels::<C>(), length), |b| {
            b.iter(|| pass(signal, &mut block, |frames| work.run(frames)));
        });
    }
}

fn channels<const C: usize>() -> &'static str {
    if C == 1 { "mono" } else { "stereo" }
}

fn all<const C: usize>(c: &mut Criterion, signal: &[[f32; C]], rate: SampleRate)
where
    [f32; C]: Frame,
{
    let active = block_processor::all_stages_active();
    for &id in StageId::ALL {
        bench_block_sizes(c, id.id(), signal, || block_processor::stage(id, &active, rate));
    }
    let strips = [
        ("strip_default", StripSettings::default()),
        ("strip_live_room", StartingPoint::SpokenLiveRoom.settings()),
        ("strip_all_active", active),
    ];
    for (name, settings) in strips {
        bench_block_sizes(c, name, signal, || block_processor::strip(&settings, rate));
    }
    meters(c, signal, rate);
}

fn meters<const C: usize>(c: &mut Criterion, signal: &[[f32; C]], rate: SampleRate) {
    let name = channels::<C>();
    for length in BLOCK_SIZES {
        let mut meter = Box::new(LoudnessMeter::<C>::new(rate, ChannelWeights::default()));
        group(c, "meter_loudness").bench_function(BenchmarkId::new(name, length), |b| {
            b.iter(|| signal.chunks(length).for_each(|frames| meter.push(frames)));
        });
        let mut meter = TruePeakMeter::<C>::new(rate);
        let mut since = 0;
        group(c, "meter_true_peak").bench_function(BenchmarkId::new(name, length), |b| {
            b.iter(|| {
                for frames in signal.chunks(length) {
                    meter.push(frames);
                    since += frames.len();
                    // Read every 100 ms, as in the strip.
                    if since >= 4_800 {
                        since = 0;
                        black_box(meter.take_recent());
                    }
                }
            });
        });
        let mut ledger = Box::new(LevelLedger::<C, LEDGER_POINTS>::new(
            rate,
            std::array::from_fn(|point| if point < LEDGER_POINTS - 2 { 0 } else { 126 }),
        ));
        let mut points = Box::new([[[0.0; C]; CHUNK]; LEDGER_POINTS]);
        group(c, "ledger_all_points").bench_function(BenchmarkId::new(name, length), |b| {
            b.iter(|| {
                for frames in signal.chunks(length) {
                    for now in frames.chunks(CHUNK) {
                        points.iter_mut().for_each(|point| point[..now.len()].copy_from_slice(now));
                        ledger.push(&points, now.len(), &[true; LEDGER_POINTS], |done| {
                            black_box(done);
                        });
                    }
                }
            });
        });
    }
}

fn benches(c: &mut Criterion) {
    let rate = SampleRate::new(RATE_HZ).expect("a rate within its range");
    let stereo = test_signal::speech_like(FRAMES, rate);
    all(c, &test_signal::left_channel(&stereo), rate);
    all(c, &stereo, rate);
}

criterion_group!(stages, benches);
criterion_main!(stages);
