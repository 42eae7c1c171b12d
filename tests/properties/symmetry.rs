//! Channel symmetry: both channels are processed alike.

use crate::rate;
use proptest::prelude::*;
use voicechain_tests::signals::{mono, phrases, unequal};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{coefs, first_difference, random_settings, run, strip};

proptest! {
    #![proptest_config(ProptestConfig { cases: 20, ..ProptestConfig::default() })]
    #[test]
    fn swapping_the_input_channels_swaps_the_output(seed in 0u64..1_000_000) {
        let rate = rate(48_000.0);
        let mut random = Noise::new(seed);
        let (first, second) = (random_settings(&mut random), random_settings(&mut random));
        let frames = unequal(&phrases(-18.0, 48_000.0, 0.7, seed));
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
