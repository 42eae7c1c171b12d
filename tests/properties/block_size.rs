//! Output and meters do not depend on the block size, bit for bit.

use crate::rate;
use proptest::prelude::*;
use voicechain_core::frame::Frame;
use voicechain_core::settings::{SpectralLatency, StageId};
use voicechain_core::strip::{MonitorMode, Monitoring};
use voicechain_core::{SampleRate, Strip, StripSettings};
use voicechain_tests::signals::{mono, phrases, unequal, white};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{coefs, first_difference, random_settings, random_value, run, run_split, strip};

/// A change to a strip at a fixed sample.
#[derive(Clone, Copy, Debug)]
#[expect(clippy::large_enum_variant, reason = "only a few exist in a test")]
enum Event {
    Settings(StripSettings),
    Monitoring(Monitoring),
    ResetMeters,
    Reset,
}

/// Events of every kind at random samples.
fn random_events(length: usize, count: usize, random: &mut Noise) -> Vec<(usize, Event)> {
    let mut settings = random_settings(random);
    let mut events: Vec<(usize, Event)> = vec![(0, Event::Settings(settings))];
    let mut at = 0;
    for _ in 0..count {
        // Half of them during the transition of the event before.
        at += if random.between(0.0, 1.0) < 0.5 {
            random.between(0.0, 700.0)
        } else {
            random.between(0.0, 1.6 * length as f64 / count as f64)
        } as usize;
        if at >= length {
            break;
        }
        let event = match random.between(0.0, 12.0) as u32 {
            0 => {
                settings = random_settings(random);
                Event::Settings(settings)
            }
            1 | 2 => {
                settings.order.swap(random.between(0.0, 3.99) as usize, random.between(0.0, 3.99) as usize);
                Event::Settings(settings)
            }
            3 => {
                settings.limiter.look_ahead_ms = random.between(0.5, 5.0);
                let latency = SpectralLatency::ALL[random.between(0.0, 2.999) as usize];
                settings.spectral.latency = latency;
                Event::Settings(settings)
            }
            4 | 5 => {
                for info in voicechain_core::settings::rows().filter(|info| info.name == "on") {
                    settings.set(info.id, random.between(0.0, 1.999).floor()).expect("a switch");
                }
                Event::Settings(settings)
            }
            6 | 7 => {
                let mode = [MonitorMode::Processed, MonitorMode::Unprocessed, MonitorMode::Removed]
                    [random.between(0.0, 2.999) as usize];
                Event::Monitoring(Monitoring { mode, loudness_matched: random.sample() > 0.0 })
            }
            8 if random.sample() > 0.5 => Event::ResetMeters,
            9 if random.sample() > 0.8 => Event::Reset,
            _ => {
                let rows: Vec<_> = voicechain_core::settings::rows().filter(|info| info.automatable).collect();
                let info = rows[random.between(0.0, rows.len() as f64 - 0.001) as usize];
                settings.set(info.id, random_value(info, random)).expect("allowed");
                Event::Settings(settings)
            }
        };
        events.push((at, event));
    }
    events
}

/// Runs frames in blocks of up to `most` frames, with events at their samples.
fn play<const C: usize>(
    rate: SampleRate,
    frames: &[[f32; C]],
    events: &[(usize, Event)],
    most: usize,
    random: &mut Noise,
) -> (Vec<[f32; C]>, Box<Strip<C>>)
where
    [f32; C]: Frame,
{
    let mut strip = strip::<C>(&StripSettings::default(), rate);
    let mut out = Vec::with_capacity(frames.len());
    let mut at = 0;
    for &(when, event) in events {
        if when > at {
            out.extend(run_split(&mut strip, &frames[at..when], most, random));
            at = when;
        }
        match event {
            Event::Settings(settings) => strip.set(&coefs(&settings, rate)),
            Event::Monitoring(monitoring) => strip.set_monitoring(monitoring),
            Event::ResetMeters => strip.reset_meters(),
            Event::Reset => strip.reset(),
        }
    }
    out.extend(run_split(&mut strip, &frames[at..], most, random));
    (out, strip)
}

/// All meter readings, as bits.
fn readings<const C: usize>(strip: &Strip<C>) -> Vec<u64>
where
    [f32; C]: Frame,
{
    let mut all = Vec::new();
    if let Some(ledger) = strip.ledger() {
        all.extend(ledger.entries.iter().map(|e| e.lu.to_bits()));
        all.extend([ledger.input_lufs.to_bits(), ledger.total_lu.to_bits()]);
    }
    for meter in [strip.input_loudness(), strip.output_loudness()] {
        let values = [
            meter.momentary(),
            meter.short_term(),
            meter.max_momentary(),
            meter.max_short_term(),
            meter.integrated(),
            meter.range(),
        ];
        all.extend(values.map(|v| v.map_or(1, f64::to_bits)));
    }
    for meter in [strip.input_true_peak(), strip.output_true_peak()] {
        all.extend(meter.hold_dbtp().map(f64::to_bits));
    }
    for meter in StageId::ALL.iter().filter_map(|&stage| strip.reduction(stage)) {
        all.extend([meter.now_db().to_bits(), meter.largest_db().to_bits()]);
        all.extend([10.0, 50.0, 95.0].map(|p| meter.percentile_db(p).map_or(1, f64::to_bits)));
    }
    all.extend(strip.loudness_match_db().map(f64::to_bits));
    let sanitised = strip.sanitised_samples();
    all.extend([u64::from(strip.voice_is_active()), sanitised.non_finite, sanitised.clamped]);
    all.push(u64::from(strip.latency()));
    all
}

/// Describes what an event changes.
fn changes(before: &(usize, Event), event: &(usize, Event)) -> String {
    match (before.1, event.1) {
        (Event::Settings(old), Event::Settings(new)) => {
            let rows: Vec<_> = voicechain_core::settings::rows()
                .filter(|info| old.get(info.id) != new.get(info.id))
                .map(|info| format!("{} {:?} to {:?}", info.id, old.get(info.id), new.get(info.id)))
                .collect();
            format!("{}: {rows:?} {:?}", event.0, if old.order == new.order { None } else { Some(new.order) })
        }
        (_, Event::Settings(_)) => format!("{}: settings", event.0),
        (_, other) => format!("{}: {other:?}", event.0),
    }
}

fn check<const C: usize>(
    hz: f64,
    frames: &[[f32; C]],
    events: &[(usize, Event)],
    seed: u64,
) -> Result<(), TestCaseError>
where
    [f32; C]: Frame,
{
    let rate = rate(hz);
    let (whole, at_once) = play(rate, frames, events, usize::MAX >> 12, &mut Noise::new(seed));
    for most in [1, 3, 63, 64, 65, 200, 1_000] {
        if most == 1 && !seed.is_multiple_of(4) {
            continue;
        }
        let (split, in_parts) = play(rate, frames, events, most, &mut Noise::new(seed + 1));
        let place = first_difference(&whole, &split);
        if let Some(place) = place {
            let before: Vec<_> = events.iter().filter(|event| event.0 <= place).collect();
            let last: Vec<String> = before.windows(2).map(|two| changes(two[0], two[1])).collect();
            let (a, b) = (whole[place], split[place]);
            prop_assert!(
                false,
                "blocks of up to {most} at {hz} Hz: {a:?} {b:?} at {place}, after {last:#?} on {:?}",
                events[0]
            );
        }
        prop_assert_eq!(readings(&at_once), readings(&in_parts), "meters, blocks of up to {}", most);
    }
    Ok(())
}

/// Phrases with a burst far above full scale and a few samples that are not finite or subnormal.
fn signal(hz: f64, samples: usize, seed: u64) -> Vec<f64> {
    let mut signal = phrases(-20.0, hz, samples as f64 / hz + 0.1, seed);
    signal.truncate(samples);
    let burst = white(6.0, samples, seed + 7);
    for n in samples / 3..samples / 3 + samples / 20 {
        signal[n] += burst[n];
    }
    signal[samples / 2] = f64::NAN;
    signal[samples / 2 + 3] = f64::INFINITY;
    signal[samples / 2 + 40] = 1e-42;
    signal
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    #[test]
    fn output_and_meters_are_independent_of_block_size(seed in 0u64..1_000_000, which in 0usize..7) {
        let hz = [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0][which];
        let mut random = Noise::new(seed);
        let samples = 30_000;
        let events = random_events(samples, 40, &mut random);
        let signal = signal(hz, samples, seed);
        check(hz, &mono(&signal), &events, seed)?;
        check(hz, &unequal(&signal), &events, seed)?;
    }
}

/// A stage is switched off during its transition to bypassed coefficients (its frequency is too high for the rate),
/// then on again: whether it is reset must not depend on block boundaries.
#[test]
fn switching_off_during_a_transition_is_independent_of_block_size() {
    let hz = 11_025.0;
    let at = |de_esser_on, frequency_hz| {
        let mut settings = StripSettings::default();
        settings.de_esser.on = de_esser_on;
        settings.de_esser.frequency_hz = frequency_hz;
        settings.de_esser.threshold_db = -20.0;
        Event::Settings(settings)
    };
    let events =
        [(0, at(true, 3_000.0)), (2_000, at(true, 8_740.0)), (2_060, at(false, 8_740.0)), (2_400, at(true, 3_000.0))];
    let signal = white(-20.0, 4_000, 11);
    check(hz, &mono(&signal), &events, 4).expect("the same bits");
    check(hz, &unequal(&signal), &events, 4).expect("the same bits");
}

#[test]
fn planar_and_interleaved_processing_are_bit_identical() {
    let signal = phrases(-20.0, 48_000.0, 1.0, 5);
    let frames = unequal(&signal);
    let settings = random_settings(&mut Noise::new(3));
    let expected = run(&mut strip::<2>(&settings, rate(48_000.0)), &frames);
    let mut planar: [Vec<f32>; 2] = std::array::from_fn(|c| frames.iter().map(|f| f[c]).collect());
    let mut strip = strip::<2>(&settings, rate(48_000.0));
    let [left, right] = &mut planar;
    for (left, right) in left.chunks_mut(333).zip(right.chunks_mut(333)) {
        strip.run_planar([left, right]);
    }
    let got: Vec<[f32; 2]> = planar[0].iter().zip(&planar[1]).map(|(&l, &r)| [l, r]).collect();
    assert_eq!(first_difference(&expected, &got), None);
}
