//! Parameter list of a host: ids, groups, texts, remote controls.

use clack_extensions::params::ParamInfoFlags;
use std::collections::BTreeSet;
use voicechain_core::settings::{SectionId, rows};
use voicechain_core::units::Unit;
use voicechain_host_tests::{HostedPlugin, clap_value, number_of};

#[test]
fn parameters_correspond_to_the_table_of_settings() {
    let plugin = HostedPlugin::new(2);
    assert_eq!(plugin.parameters().len(), rows().count() + 2);
    let numbers: BTreeSet<u32> = plugin.parameters().iter().map(|parameter| parameter.id.get()).collect();
    assert_eq!(numbers.len(), plugin.parameters().len(), "every id once");
    assert_eq!(plugin.parameters()[0].id.get(), number_of("bypass"));
    assert!(plugin.parameters()[0].flags.contains(ParamInfoFlags::IS_BYPASS));
    assert_eq!(
        plugin.parameters().iter().filter(|parameter| parameter.flags.contains(ParamInfoFlags::IS_BYPASS)).count(),
        1
    );
    let names: BTreeSet<&str> = plugin.parameters().iter().map(|parameter| parameter.name.as_str()).collect();
    assert_eq!(names.len(), plugin.parameters().len(), "every name once");
    for info in rows() {
        let parameter = plugin.parameter(info);
        assert_eq!(parameter.id.get(), number_of(info.id), "{}", info.id);
        let section = SectionId::ALL.iter().find(|section| section.id() == info.section).unwrap();
        assert_eq!(parameter.module, section.name());
        assert_eq!(parameter.name, format!("{} {}", section.name(), info.name));
        assert_eq!(parameter.flags.contains(ParamInfoFlags::IS_AUTOMATABLE), info.automatable, "{}", info.id);
        let stepped = matches!(info.unit, Unit::Switch | Unit::Choice);
        assert_eq!(parameter.flags.contains(ParamInfoFlags::IS_STEPPED), stepped, "{}", info.id);
        assert_eq!(parameter.flags.contains(ParamInfoFlags::IS_ENUM), info.unit == Unit::Choice, "{}", info.id);
        assert_eq!(parameter.range, [0.0, if stepped { info.max } else { 1.0 }, clap_value(info, info.default)]);
    }
}

#[test]
fn texts_and_values_convert_back_and_forth() {
    let mut plugin = HostedPlugin::new(2);
    for info in rows() {
        let parameter = plugin.parameter(info).clone();
        for k in 0..=50 {
            let mut value = parameter.range[1] * f64::from(k) / 50.0;
            if parameter.flags.contains(ParamInfoFlags::IS_STEPPED) {
                value = value.round();
            }
            let text = plugin.text(parameter.id, value).unwrap();
            let back = plugin.parse(parameter.id, &text).unwrap();
            assert_eq!(plugin.text(parameter.id, back).unwrap(), text, "{}", info.id);
            assert_eq!(plugin.parse(parameter.id, &text).unwrap(), back);
            assert!((parameter.range[0]..=parameter.range[1]).contains(&back), "{} {text}", info.id);
            let expected = info.value_at(f64::from(value as f32));
            if !parameter.flags.contains(ParamInfoFlags::IS_STEPPED) {
                assert_eq!(text, info.text(expected).to_string());
            }
        }
        for nonsense in ["", " ", "nonsense", "-", "..", "1 parsec", "2,500", "\u{1F600}"] {
            assert_eq!(plugin.parse(parameter.id, nonsense), None, "{} {nonsense:?}", info.id);
        }
    }
}

#[test]
fn texts_with_units_are_parsed() {
    let mut plugin = HostedPlugin::new(2);
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
        let number = plugin.parameter(info).id;
        let host = plugin.parse(number, typed).unwrap();
        plugin.flush(&[(number, host)]);
        assert_eq!(plugin.value(number), Some(clap_value(info, value)), "{id}");
    }
}

#[test]
fn remote_controls_reach_every_setting() {
    let mut plugin = HostedPlugin::new(2);
    let pages = plugin.remote_controls();
    let ids: BTreeSet<u32> = pages.iter().map(|page| page.id.get()).collect();
    assert_eq!(ids.len(), pages.len(), "every page has its own id");
    for section in SectionId::ALL {
        let of_section: Vec<_> = pages.iter().filter(|page| page.section == section.name()).collect();
        assert!(!of_section.is_empty(), "{}", section.name());
        // All settings in table order, each exactly once.
        let listed: Vec<_> = of_section.iter().flat_map(|page| page.parameters.iter().flatten().copied()).collect();
        let expected: Vec<_> = section.rows().iter().map(|info| plugin.parameter(info).id).collect();
        assert_eq!(listed, expected, "{}", section.name());
        assert!(of_section.iter().all(|page| page.name.starts_with(section.name())), "{of_section:?}");
    }
    let known: usize =
        pages.iter().filter(|page| SectionId::ALL.iter().any(|section| section.name() == page.section)).count();
    assert_eq!(known, pages.len(), "no other section");
    assert_eq!(HostedPlugin::new(1).remote_controls(), pages, "the same in every instance");
}
