//! Output and meters do not depend on the block size, bit for bit.

use crate::events::{Event, events_until, play, random_events, readings};
use crate::rate;
use proptest::prelude::*;
use voicechain_core::frame::Frame;
use voicechain_core::{Strip, StripSettings};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{mono, phrases, white};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{first_difference, first_invalid, random_settings, run, strip};

fn bits<const C: usize>(strip: &Strip<C>) -> Vec<u64>
where
    [f32; C]: Frame,
{
    readings(strip).into_iter().map(f64::to_bits).collect()
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
    let invalid = first_invalid(&whole);
    prop_assert!(invalid.is_none(), "{hz} Hz: invalid at {invalid:?}, {}", events_until(events, frames.len()));
    for most in [1, 3, 63, 64, 65, 200, 1_000] {
        if most == 1 && !seed.is_multiple_of(4) {
            continue;
        }
        let (split, in_parts) = play(rate, frames, events, most, &mut Noise::new(seed + 1));
        let place = first_difference(&whole, &split);
        if let Some(place) = place {
            let (a, b, events) = (whole[place], split[place], events_until(events, place));
            prop_assert!(false, "blocks of up to {most} at {hz} Hz: {a:?} {b:?} at {place}, {events}");
        }
        prop_assert_eq!(bits(&at_once), bits(&in_parts), "meters, blocks of up to {}", most);
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
    fn output_and_meters_are_independent_of_block_size(
        seed in 0u64..1_000_000,
        which in 0usize..7,
        pattern in prop::sample::select(ChannelPattern::ALL.to_vec()),
    ) {
        let hz = [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0][which];
        let mut random = Noise::new(seed);
        let samples = 30_000;
        let events = random_events(samples, 40, &mut random);
        let signal = signal(hz, samples, seed);
        if seed.is_multiple_of(2) {
            check(hz, &mono(&signal), &events, seed)?;
        }
        check(hz, &pattern.frames(&signal), &events, seed)?;
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
    for pattern in [ChannelPattern::Unequal, ChannelPattern::TakeTurns] {
        check(hz, &pattern.frames(&signal), &events, 4).expect("the same bits");
    }
}

#[test]
fn planar_and_interleaved_processing_are_bit_identical() {
    let signal = phrases(-20.0, 48_000.0, 1.0, 5);
    let frames = ChannelPattern::DropOuts.frames(&signal);
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
