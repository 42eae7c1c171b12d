//! `report.html` as markup.

use crate::sample::{invented_course, sample_page};
use voicechain_examples::report::data::{Fault, LeftOff, Levels};
use voicechain_examples::report::excerpt::{Clip, ClipBudget, MAX_PAGE_CHARACTERS};
use voicechain_examples::report::{Excerpt, MixSeries, VoiceSeries, render};

/// Asserts that elements are closed in order, ids are unique, and every reference inside the page has a target.
fn check_markup(html: &str) {
    const VOID: [&str; 3] = ["meta", "br", "!DOCTYPE"];
    let body = html.find("<body>").expect("a body");
    let script = html.find("<script>").expect("a script");
    let mut open = Vec::new();
    let mut ids = std::collections::BTreeSet::new();
    let mut rest = &html[body..script];
    while let Some(start) = rest.find('<') {
        let end = start + rest[start..].find('>').expect("a closed tag");
        let tag = &rest[start + 1..end];
        rest = &rest[end + 1..];
        let name = tag.trim_start_matches('/').split([' ', '/']).next().expect("a name");
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "closing {name}");
        } else if !tag.ends_with('/') && !VOID.contains(&name) {
            open.push(name);
        }
        if let Some(at) = tag.find(" id=\"") {
            let id = tag[at + 5..].split('"').next().expect("an id");
            assert!(ids.insert(id.to_owned()), "duplicate id {id}");
        }
    }
    assert_eq!(open, ["body"]);
    for (start, close) in [("href=\"#", '"'), ("url(#", ')')] {
        for part in html[body..script].split(start).skip(1) {
            let id = part.split(close).next().expect("an id");
            assert!(ids.contains(id), "unknown id {id}");
        }
    }
}

/// The page without its embedded audio, whose text is arbitrary.
fn without_sound(html: &str) -> String {
    let mut parts = html.split("data:audio/flac;base64,");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |all, part| all + part.find('"').map_or("", |end| &part[end..]))
}

/// Writes a page to the target folder for visual inspection.
fn keep(name: &str, html: &str) {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("report-sample");
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join(name), html).expect("written");
}

#[test]
fn a_sample_page_is_valid_and_self_contained() {
    let html = render(&sample_page());
    keep("report.html", &html);
    check_markup(&html);
    assert!(html.contains("Meets the target"));
    for unwanted in ["NaN", "inf\"", "-0.0", "\u{2212}0.0<", "http://", "https://"] {
        assert!(!without_sound(&html).contains(unwanted), "{unwanted}");
    }
    // A player for each side of each voice, and one for the mix.
    assert_eq!(html.matches("<audio ").count(), 5);
}

/// Every stage with a meter shows its gain reduction: median, 95th percentile and maximum.
#[test]
fn every_gain_reduction_is_shown() {
    let page = sample_page();
    let html = render(&page);
    for (name, values) in [
        ("De-reverb", ["−0.9", "−8.3", "−11.7"]),
        ("Expander", ["0.0", "−6.3", "−13.1"]),
        ("Leveller", ["0.0", "−3.2", "−4.0"]),
        ("De-esser", ["0.0", "−3.4", "−5.9"]),
        ("Compressor", ["−1.3", "−4.1", "−6.8"]),
    ] {
        let row = html.split("<tr role=\"row\"").find(|row| row.contains(&format!(">{name}</th>"))).expect(name);
        for value in values {
            assert!(row.contains(&format!("{value}</td>")), "{name}, {value}: {row}");
        }
    }
    // At the end of the meter's range a percentile is that much or more.
    let mut heavy = page.clone();
    heavy.report.voices[0].gain_reduction.compressor.median_db = 30.0;
    heavy.report.mix.limiter.p95_db = 30.0;
    let heavy = render(&heavy);
    assert!(heavy.contains(">≤ −30</td>") && heavy.contains("≤ −30 stands for 30 dB or more"));
    assert!(heavy.contains("30 dB or more</span> (95th percentile)") && !html.contains(">≤ −30</td>"));
    // A stage without a meter shows none.
    let trim = html.split("<tr role=\"row\"").find(|row| row.contains(">Trim</th>")).expect("the trim");
    assert!(!trim.contains("data-label"));
}

#[test]
fn a_stage_that_was_left_off_says_why() {
    let mut page = sample_page();
    let sentence =
        "The decay time is 120 ms; the de-reverb is proposed from 170 ms: de-reverb off (an invented source).";
    page.report.voices[0].left_off = vec![LeftOff { stage: "de_reverb".into(), sentence: sentence.into() }];
    let html = render(&page);
    let row = html.split("<tr role=\"row\"").find(|row| row.contains(">De-reverb</th>")).expect("the de-reverb");
    assert!(row.contains(sentence), "{row}");
    assert_eq!(html.matches(sentence).count(), 1);
}

#[test]
fn names_cannot_become_markup() {
    let nasty = "\"><script>alert('x')</script>&amp;\u{202e}\u{7}.wav";
    let mut page = sample_page();
    let report = &mut page.report;
    report.title = nasty.into();
    report.target.document = Some(nasty.into());
    report.warnings = vec![nasty.into()];
    report.files[0].name = nasty.into();
    report.files[0].description = nasty.into();
    for voice in &mut report.voices {
        voice.name = nasty.into();
        voice.file = nasty.into();
        voice.warnings = vec![nasty.into()];
        voice.settings[0].description = nasty.into();
        voice.settings[0].rationale = Some(nasty.into());
        voice.settings_source = nasty.into();
        voice.evidence.iter_mut().for_each(|reason| reason.sentence = nasty.into());
        voice.left_off = vec![LeftOff { stage: "trim".into(), sentence: nasty.into() }];
        voice.ledger[1].stage = nasty.into();
    }
    let demo = report.demo.as_mut().expect("the demo");
    demo.scenario = nasty.into();
    demo.faults[0] = Fault { voice: nasty.into(), description: nasty.into() };
    page.voices[0].gain[0].0 = nasty.into();
    let html = render(&page);
    check_markup(&html);
    assert_eq!(html.matches("<script>").count(), 1);
    assert!(!html.contains("alert('x')") && !html.contains('\u{202e}') && !html.contains('\u{7}'));
    assert!(html.matches("&lt;script&gt;alert(&#39;x&#39;)").count() > 20);
}

#[test]
fn empty_invalid_and_very_long_series_are_drawn() {
    let mut page = sample_page();
    page.voices[0] = VoiceSeries::default();
    page.voices.truncate(1);
    page.mix = MixSeries::default();
    page.report.voices[0].duration_s = 0.0;
    page.report.voices[0].ledger.clear();
    page.report.voices[0].input = Levels::default();
    page.report.mix.integrated_lufs = None;
    let html = render(&page);
    check_markup(&html);
    assert!(html.contains("Misses the target") && !without_sound(&html).contains("NaN"));

    let mut page = sample_page();
    let (mut before, after, gain) = invented_course(14_400.0, -24.0, 6.0, 9);
    before.values[..300].fill(f32::NAN);
    before.values[5_000] = f32::INFINITY;
    page.voices[0].loudness_before = before;
    page.voices[0].loudness_after = after;
    page.voices[0].gain = gain;
    page.report.voices[0].name = "A voice whose name takes more room than most".into();
    page.report.voices[0].file =
        "an-even-longer-file-name-without-any-blanks-that-has-to-break-somewhere-or-other.wav".into();
    page.report.mix.integrated_lufs = Some(-17.3);
    page.report.mix.true_peak_dbtp = Some(0.2);
    page.report.target.document = Some("EBU R 128".into());
    page.report.voices[0].duration_s = 14_400.0;
    let html = render(&page);
    keep("odd.html", &html);
    check_markup(&html);
    assert!(!without_sound(&html).contains("NaN") && html.len() < 2_000_000, "{}", html.len());
}

#[test]
fn a_page_full_of_clips_stays_under_fifteen_megabytes() {
    let mut page = sample_page();
    let budget = ClipBudget::for_clips(4 + 1).expect("room");
    assert!(budget.characters * 5 <= MAX_PAGE_CHARACTERS);
    let clip = Clip { bytes: vec![0; budget.characters / 4 * 3], mime: "audio/flac", seconds: budget.seconds };
    for voice in &mut page.voices {
        voice.excerpt = Some(Excerpt {
            start_s: 0.0,
            before: clip.clone(),
            after: clip.clone(),
            loudness_match_db: 0.0,
            peak_attenuation_db: 0.0,
        });
    }
    page.mix.excerpt = Some((0.0, clip));
    let html = render(&page);
    assert!((11_000_000..15_000_000).contains(&html.len()), "{}", html.len());
}
