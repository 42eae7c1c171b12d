//! Channel symmetry: both channels are processed alike.

use crate::rate;
use proptest::prelude::*;
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{buzz, mono, phrases};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{coefs, first_difference, random_settings, run, strip};

proptest! {
    #![proptest_config(ProptestConfig { cases: 20, ..ProptestConfig::default() })]
    #[test]
    fn swapping_the_input_channels_swaps_the_output(
        seed in 0u64..1_000_000,
        pattern in prop::sample::select(ChannelPattern::ALL.to_vec()),
    ) {
        let rate = rate(48_000.0);
        let mut random = Noise::new(seed);
        let (first, second) = (random_settings(&mut random), random_settings(&mut random));
        let frames = pattern.frames(&phrases(-18.0, 48_000.0, 0.7, seed));
        let turned: Vec<[f32; 2]> = frames.iter().map(|&[l, r]| [r, l]).collect();
        let both = |frames: &[[f32; 2]]| {
            let mut strip = strip::<2>(&first, rate);
            let mut out = run(&mut strip, &frames[..20_000]);
            strip.set(&coefs(&second, rate));
            out.extend(run(&mut strip, &frames[20_000..]));
            out
        };
        let expected: Vec<[f32; 2]> = both(&frames).iter().map(|&[l, r]| [r, l]).collect();
        let place = first_difference(&both(&turned), &expected);
        prop_assert!(place.is_none(), "{pattern:?}, differ at {place:?}: {first:?} {second:?}");
    }

    /// The stages that process each channel by itself, or all by the loudest: a silent channel stays silent and leaves
    /// the other as it is in mono. At 8 kHz the hum is found within the recording.
    #[test]
    fn a_silent_channel_leaves_the_other_as_in_mono(seed in 0u64..1_000_000, right in any::<bool>()) {
        let hz = 8_000.0;
        let mut random = Noise::new(seed);
        let [first, second] = [(); 2].map(|()| {
            let mut settings = random_settings(&mut random);
            (settings.expander.on, settings.leveller.on, settings.de_esser.on) = (false, false, false);
            settings.hum.on = true;
            settings
        });
        let (voice, hum) = (phrases(-18.0, hz, 3.0, seed), buzz(50.1, -35.0, hz, 24_000));
        let signal: Vec<f64> = voice.iter().zip(&hum).map(|(v, h)| v + h).collect();
        let pattern = if right { ChannelPattern::OnlyRight } else { ChannelPattern::OnlyLeft };
        let (one, two) = (mono(&signal), pattern.frames(&signal));
        let (mut mono_strip, mut stereo_strip) = (strip::<1>(&first, rate(hz)), strip::<2>(&first, rate(hz)));
        let (mut a, mut b) = (run(&mut mono_strip, &one[..14_000]), run(&mut stereo_strip, &two[..14_000]));
        mono_strip.set(&coefs(&second, rate(hz)));
        stereo_strip.set(&coefs(&second, rate(hz)));
        a.extend(run(&mut mono_strip, &one[14_000..]));
        b.extend(run(&mut stereo_strip, &two[14_000..]));
        let expected: Vec<[f32; 2]> = a.iter().map(|&[x]| if right { [0.0, x] } else { [x, 0.0] }).collect();
        // A silent channel may contain negative zeros.
        let place = b.iter().zip(&expected).position(|(b, expected)| b != expected);
        prop_assert!(place.is_none(), "differ at {place:?}: {first:?} {second:?}");
    }

    #[test]
    fn stereo_with_equal_channels_equals_mono(seed in 0u64..1_000_000) {
        let rate = rate(44_100.0);
        let mut random = Noise::new(seed);
        let (first, second) = (random_settings(&mut random), random_settings(&mut random));
        let one = mono(&phrases(-18.0, 44_100.0, 0.7, seed));
        let two: Vec<[f32; 2]> = one.iter().map(|&[x]| [x, x]).collect();
        let (mut mono_strip, mut stereo_strip) = (strip::<1>(&first, rate), strip::<2>(&first, rate));
        let (mut a, mut b) = (run(&mut mono_strip, &one[..17_000]), run(&mut stereo_strip, &two[..17_000]));
        mono_strip.set(&coefs(&second, rate));
        stereo_strip.set(&coefs(&second, rate));
        a.extend(run(&mut mono_strip, &one[17_000..]));
        b.extend(run(&mut stereo_strip, &two[17_000..]));
        let expected: Vec<[f32; 2]> = a.iter().map(|&[x]| [x, x]).collect();
        let place = first_difference(&b, &expected);
        prop_assert!(place.is_none(), "differ at {place:?}: {first:?} {second:?}");
    }
}
