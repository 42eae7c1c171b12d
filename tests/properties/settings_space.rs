//! Settings inside the table give stable, finite coefficients; a value outside is refused with its id.

use crate::rate;
use voicechain_core::settings::{self, Scale, SectionId};
use voicechain_core::units::Unit;
use voicechain_core::{StripCoefs, StripSettings};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::white;
use voicechain_tests::spectra::{Noise, RATES};
use voicechain_tests::strips::{coefs, random_settings, run, strip};

#[test]
fn any_settings_in_range_give_stable_coefficients() {
    let mut random = Noise::new(11);
    let loud = white(0.0, 1_500, 1);
    for hz in RATES {
        let rate = rate(hz);
        for round in 0..60 {
            let mut settings = random_settings(&mut random);
            settings.limiter.look_ahead_ms = random.between(0.5, 5.0);
            if round % 3 == 0 {
                // Corners: every setting at its minimum or maximum.
                for info in settings::rows() {
                    let end = if random.sample() > 0.0 { info.max } else { info.min };
                    settings.set(info.id, end).expect("the minimum or maximum");
                }
            }
            let designed = coefs::<2>(&settings, rate);
            assert!(designed.is_stable(), "{settings:?} at {hz} Hz");
            if round % 4 == 0 {
                let mut strip = strip::<2>(&settings, rate);
                let pattern = ChannelPattern::one_of(&ChannelPattern::ALL, &mut random);
                let mut out = run(&mut strip, &pattern.frames(&loud));
                out.extend(run(&mut strip, &vec![[0.0; 2]; 1_500]));
                assert!(out.iter().flatten().all(|x| x.is_finite()), "{pattern:?}, {settings:?} at {hz} Hz");
            }
        }
    }
}

/// The next number beyond `value` in a direction.
fn beyond(value: f64, up: bool) -> f64 {
    if up { value.next_up() } else { value.next_down() }
}

#[test]
fn values_outside_the_table_are_refused_with_their_id() {
    let rate = rate(48_000.0);
    for info in settings::rows() {
        let outside = [
            beyond(info.min, false),
            beyond(info.max, true),
            f64::NAN,
            f64::NEG_INFINITY,
            f64::INFINITY,
            1e300,
            -1e300,
        ];
        for value in outside {
            if info.unit == Unit::Ratio && value == f64::INFINITY {
                continue;
            }
            let mut s = random_settings(&mut Noise::new(2));
            let before = s;
            let refused = s.set(info.id, value).expect_err("outside the range");
            assert_eq!(refused.setting, info.id);
            assert!(refused.value.to_bits() == value.to_bits());
            assert_eq!(refused.allowed, info.allowed());
            assert_eq!(s, before, "{} changed a setting", info.id);
            // Written directly into the struct, without `set`: `design` refuses it. A switch or a choice cannot be out
            // of range there.
            if matches!(info.unit, Unit::Switch | Unit::Choice) {
                continue;
            }
            let mut s = StripSettings::default();
            force(&mut s, info.id, value);
            let refused = StripCoefs::<1>::design(&s, rate).expect_err("outside the range");
            assert_eq!(refused.setting, info.id);
        }
        for value in [info.min, info.max, info.default] {
            let mut s = StripSettings::default();
            s.set(info.id, value).expect("inside the range");
            assert!(StripCoefs::<2>::design(&s, rate).is_ok());
        }
        assert!(info.scale == Scale::Linear || info.min > 0.0, "{}: a logarithmic scale starts above 0", info.id);
    }
    let mut s = StripSettings::default();
    s.order[0] = s.order[1];
    assert_eq!(StripCoefs::<1>::design(&s, rate).expect_err("a stage twice").setting, "order");
}

/// Writes a setting without a check.
fn force(settings: &mut StripSettings, id: &str, value: f64) {
    let row_in = |section: &SectionId| section.rows().iter().position(|info| info.id == id);
    let found = SectionId::ALL.iter().find_map(|section| Some((*section, row_in(section)?)));
    let (section, row) = found.expect("an id in the table");
    assert!(settings.set_value(section, row, value));
}
