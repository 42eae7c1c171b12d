//! What a host lists: parameters, groups, texts.

use clack_extensions::params::ParamInfoFlags;
use std::collections::BTreeSet;
use voicechain_core::settings::{SectionId, rows};
use voicechain_core::units::Unit;
use voicechain_host_tests::{Deck, clap_value};

/// The framework's rule from string ids to numbers: `h = 31 h + byte` over 32 bits, the highest bit cleared.
fn number_of(id: &str) -> u32 {
    id.bytes().fold(0_u32, |h, byte| h.wrapping_mul(31).wrapping_add(u32::from(byte))) & 0x7FFF_FFFF
}

#[test]
fn parameters_are_the_table() {
    let deck = Deck::new(2);
    assert_eq!(deck.seen().len(), rows().count() + 2);
    let numbers: BTreeSet<u32> = deck.seen().iter().map(|seen| seen.id.get()).collect();
    assert_eq!(numbers.len(), deck.seen().len(), "every id once");
    assert_eq!(deck.seen()[0].id.get(), number_of("bypass"));
    assert!(deck.seen()[0].flags.contains(ParamInfoFlags::IS_BYPASS));
    assert_eq!(deck.seen().iter().filter(|seen| seen.flags.contains(ParamInfoFlags::IS_BYPASS)).count(), 1);
    let names: BTreeSet<&str> = deck.seen().iter().map(|seen| seen.name.as_str()).collect();
    assert_eq!(names.len(), deck.seen().len(), "every name once");
    for info in rows() {
        let seen = deck.of(info);
        assert_eq!(seen.id.get(), number_of(info.id), "{}", info.id);
        let section = SectionId::ALL.iter().find(|section| section.id() == info.section).unwrap();
        assert_eq!(seen.module, section.name());
        assert_eq!(seen.name, format!("{} {}", section.name(), info.name));
        assert_eq!(seen.flags.contains(ParamInfoFlags::IS_AUTOMATABLE), info.automatable, "{}", info.id);
        let stepped = matches!(info.unit, Unit::Switch | Unit::Choice);
        assert_eq!(seen.flags.contains(ParamInfoFlags::IS_STEPPED), stepped, "{}", info.id);
        assert_eq!(seen.range, [0.0, if stepped { info.max } else { 1.0 }, clap_value(info, info.default)]);
    }
}

#[test]
fn texts_and_values_are_inverse_to_each_other() {
    let mut deck = Deck::new(2);
    for info in rows() {
        let seen = deck.of(info).clone();
        for k in 0..=50 {
            let mut value = seen.range[1] * f64::from(k) / 50.0;
            if seen.flags.contains(ParamInfoFlags::IS_STEPPED) {
                value = value.round();
            }
            let text = deck.text(seen.id, value).unwrap();
            let back = deck.parse(seen.id, &text).unwrap();
            assert_eq!(deck.text(seen.id, back).unwrap(), text, "{}", info.id);
            assert_eq!(deck.parse(seen.id, &text).unwrap(), back);
            assert!((seen.range[0]..=seen.range[1]).contains(&back), "{} {text}", info.id);
            let meant = info.value_at(f64::from(value as f32));
            if !seen.flags.contains(ParamInfoFlags::IS_STEPPED) {
                assert_eq!(text, info.text(meant).to_string());
            }
        }
        for nonsense in ["", " ", "nonsense", "-", "..", "1 parsec", "\u{1F600}"] {
            assert_eq!(deck.parse(seen.id, nonsense), None, "{} {nonsense:?}", info.id);
        }
    }
}

#[test]
fn values_are_typed_in_their_units() {
    let mut deck = Deck::new(2);
    let cases = [
        ("corrective_eq.bell_4_frequency_hz", "2.5 kHz", 2_500.0),
        ("corrective_eq.bell_4_frequency_hz", "2500", 2_500.0),
        ("compressor.threshold_db", "-18 dB", -18.0),
        ("compressor.ratio", "3:1", 3.0),
        ("compressor.ratio", "inf:1", f64::INFINITY),
        ("compressor.release_ms", "1.5 s", 1_500.0),
        ("high_pass.slope", "24 dB/oct", 3.0),
        ("high_pass.on", "off", 0.0),
    ];
    for (id, typed, value) in cases {
        let info = voicechain_core::settings::row(id).unwrap();
        let number = deck.of(info).id;
        let host = deck.parse(number, typed).unwrap();
        deck.flush(&[(number, host)]);
        assert_eq!(deck.value(number), Some(clap_value(info, value)), "{id}");
    }
}

#[test]
fn remote_controls_reach_every_setting() {
    let mut deck = Deck::new(2);
    let pages = deck.pages();
    let ids: BTreeSet<u32> = pages.iter().map(|page| page.id.get()).collect();
    assert_eq!(ids.len(), pages.len(), "every page has its own id");
    for section in SectionId::ALL {
        let of_section: Vec<_> = pages.iter().filter(|page| page.section == section.name()).collect();
        assert!(!of_section.is_empty(), "{}", section.name());
        // At most eight on a page, in the table's order, none left out and none twice.
        let listed: Vec<_> = of_section.iter().flat_map(|page| page.parameters.iter().flatten().copied()).collect();
        let expected: Vec<_> = section.rows().iter().map(|info| deck.of(info).id).collect();
        assert_eq!(listed, expected, "{}", section.name());
        assert!(of_section.iter().all(|page| page.name.starts_with(section.name())), "{of_section:?}");
    }
    let known: usize =
        pages.iter().filter(|page| SectionId::ALL.iter().any(|section| section.name() == page.section)).count();
    assert_eq!(known, pages.len(), "no other section");
    assert_eq!(Deck::new(1).pages(), pages, "the same in every instance");
}
