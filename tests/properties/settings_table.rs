//! The settings table and everything derived from it.

use std::collections::HashSet;
use voicechain_core::StripSettings;
use voicechain_core::settings::{self, CompressorSettings, SectionId};
use voicechain_core::strip::StartingPoint;
use voicechain_core::units::Unit;
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{random_settings, random_value};

#[test]
fn settings_are_complete_and_unique() {
    let rows: Vec<_> = settings::rows().collect();
    let ids: HashSet<&str> = rows.iter().map(|info| info.id).collect();
    assert_eq!(ids.len(), rows.len(), "duplicate id");
    let default = StripSettings::default();
    default.check().expect("the defaults");
    assert_eq!(SectionId::from_id("no_such_section"), None);
    for info in rows {
        assert!(info.min < info.max && info.step > 0.0, "{}", info.id);
        info.check(info.default).expect("a default inside its range");
        assert_eq!(default.get(info.id), Some(info.default), "{}", info.id);
        assert_eq!(info.id.split_once('.').expect("section and field").0, info.section);
        let section = SectionId::from_id(info.section).expect("a section");
        assert!(section.id() == info.section && section.rows().contains(info), "{}", info.id);
        assert!(info.explanation.ends_with('.') && !info.explanation.contains('\n') && !info.name.is_empty());
        assert_eq!(settings::row(info.id), Some(info));
        assert_eq!(info.unit == Unit::Choice, !info.choices.is_empty(), "{}", info.id);
        if info.unit == Unit::Choice {
            assert_eq!(info.max as usize + 1, info.choices.len());
        }
        assert_eq!(info.nearest(f64::NAN), info.default);
        info.check(info.nearest(1e9)).expect("the nearest");
    }
    assert_eq!(settings::row("nothing.at_all"), None);
    assert_eq!(default.get("nothing.at_all"), None);
    assert!(StripSettings::default().set("nothing.at_all", 0.0).is_err());
}

#[test]
fn every_setting_can_be_read_and_written() {
    let mut random = Noise::new(5);
    for _ in 0..50 {
        for info in settings::rows() {
            let mut s = random_settings(&mut random);
            let before = s;
            let value = random_value(info, &mut random);
            s.set(info.id, value).expect("a value from the table");
            assert_eq!(s.get(info.id), Some(value), "{}", info.id);
            // No other setting changes.
            s.set(info.id, before.get(info.id).expect("a row")).expect("the previous value");
            assert_eq!(s, before, "{}", info.id);
        }
    }
}

#[test]
fn starting_points_are_inside_the_table() {
    let names: HashSet<&str> = StartingPoint::ALL.iter().map(|p| p.name()).collect();
    assert_eq!(names.len(), StartingPoint::ALL.len());
    for point in StartingPoint::ALL {
        point.settings().check().expect("a starting point");
    }
}

#[test]
fn settings_survive_toml_and_json() {
    let mut random = Noise::new(8);
    for round in 0..200 {
        let mut s = random_settings(&mut random);
        if round % 2 == 0 {
            s.compressor.ratio = f64::INFINITY;
        }
        let text = toml::to_string(&s).expect("TOML");
        assert_eq!(toml::from_str::<StripSettings>(&text).expect("its own TOML"), s);
        let text = serde_json::to_string(&s).expect("JSON");
        let back = serde_json::from_str::<StripSettings>(&text).unwrap_or_else(|e| panic!("{e}: {text}"));
        assert_eq!(back, s, "{text}");
    }
    // A missing setting keeps its default; an unknown one is refused.
    assert_eq!(toml::from_str::<StripSettings>("").expect("nothing"), StripSettings::default());
    let some = toml::from_str::<StripSettings>("[compressor]\nratio = inf\nmake_up = \"automatic\"").expect("some");
    let compressor = CompressorSettings {
        ratio: f64::INFINITY,
        make_up: settings::MakeUp::Automatic,
        ..CompressorSettings::default()
    };
    assert_eq!(some, StripSettings { compressor, ..StripSettings::default() });
    for text in ["[compressor]\nrate = 3.0", "[compresor]\nratio = 3.0", "[high_pass]\nslope = \"7 dB/oct\""] {
        assert!(toml::from_str::<StripSettings>(text).is_err(), "{text}");
    }
}

#[test]
fn the_printed_table_has_one_line_per_setting() {
    let mut text = String::new();
    StripSettings::write_table(&mut text).expect("a string");
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), settings::rows().count() + 2);
    for (line, info) in lines[2..].iter().zip(settings::rows()) {
        assert!(line.starts_with(&format!("| `{}` | {} |", info.id, info.name)), "{line}");
        assert_eq!(line.matches(" | ").count(), 4, "{line}");
        assert!(line.ends_with(&format!("{} |", info.explanation)), "{line}");
    }
    let line = |id: &str| lines.iter().find(|line| line.contains(id)).copied().expect("a line");
    assert!(line("`compressor.ratio`").contains("| 1 to 20, infinite | 3:1 |"));
    assert!(line("`high_pass.slope`").contains("48 dB/oct | 18 dB/oct |"));
    assert!(line("`limiter.ceiling_dbtp`").contains("| -24 to 0 dBTP | -1 dBTP |"));
    assert!(line("`high_pass.on`").contains("| off, on | on |"));
}

/// `voicechain-core/SETTINGS.md` equals the printed table. After a change, run the test with `VOICECHAIN_WRITE=1`,
/// which writes the file, and review the difference.
#[test]
fn settings_md_equals_the_printed_table() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../voicechain-core/SETTINGS.md");
    let mut text = String::from(
        "# Settings\n\nPrinted from the table in `src/settings/table.rs`, from which everything else is derived. A \
         settings file (TOML) starts with `format = 1` and `order` and has one section per stage and one, `spectral`, \
         that stages share. A setting that it leaves out keeps its default. Ids and ranges never change after a \
         release.\n\n",
    );
    StripSettings::write_table(&mut text).expect("writing to a string");
    if std::env::var_os("VOICECHAIN_WRITE").is_some() {
        std::fs::write(path, &text).expect("the file can be written");
    }
    assert_eq!(std::fs::read_to_string(path).unwrap_or_default(), text, "run again with VOICECHAIN_WRITE=1");
}
