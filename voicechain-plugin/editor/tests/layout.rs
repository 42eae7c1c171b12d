//! Layout tests: from the smallest window to a large display, and controls that must not move.

use crate::controls::{assert_complete_gestures, open, opened, press};
use crate::track::Track;
use egui::accesskit::Role;
use egui::{Event, Key, Rect, pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{By, NodeT, Queryable};
use std::collections::BTreeMap;
use voicechain_core::settings::StageId;
use voicechain_core::strip::MonitorMode;
use voicechain_editor::{DEFAULT_SIZE, FileOperation, MIN_SIZE, UserAction};

/// Every named control with its role and rectangle.
fn places(page: &Harness<'static, Track>) -> Vec<(String, Role, Rect)> {
    let named = |node: &egui_kittest::Node<'_>| {
        let (role, label) = (node.accesskit_node().role(), node.accesskit_node().label()?);
        let is_control = role != Role::Label && node.accesskit_node().bounding_box().is_some();
        is_control.then(|| (label, role, node.rect()))
    };
    page.query_all(By::new().predicate(|node| node.label().is_some())).filter_map(|node| named(&node)).collect()
}

/// Sizes in points and pixels per point: the smallest window at 100 to 300 %, the default window, and a display of 3840
/// by 2160 pixels at 300, 200 and 100 %.
const SIZES: [([f32; 2], f32); 8] = [
    (MIN_SIZE, 1.0),
    (MIN_SIZE, 1.5),
    (MIN_SIZE, 2.0),
    (MIN_SIZE, 3.0),
    (DEFAULT_SIZE, 1.0),
    ([1_280.0, 720.0], 3.0),
    ([1_920.0, 1_080.0], 2.0),
    ([3_840.0, 2_160.0], 1.0),
];

#[test]
fn controls_fit_and_do_not_overlap_at_every_size() {
    for (size, scale) in SIZES {
        for file_dialog in [false, true] {
            let mut track = Track::measured();
            if file_dialog {
                track.file_dialog =
                    Some((FileOperation::Save, "/home/somebody/voice.toml".into(), false, String::new()));
            }
            let (page, _) = track.open(size, scale);
            let window = Rect::from_min_size(pos2(0.0, 0.0), vec2(size[0], size[1])).expand(1.0);
            let all = places(&page);
            for (name, _, rect) in &all {
                assert!(window.x_range().contains(rect.left()), "{size:?} {scale}: {name} {rect:?}");
                assert!(window.x_range().contains(rect.right()), "{size:?} {scale}: {name} {rect:?}");
            }
            // Buttons and text fields do not overlap.
            let words: Vec<_> = all
                .iter()
                .filter(|(name, role, _)| {
                    let band = name.starts_with("hear ");
                    matches!(role, Role::Button | Role::RadioButton | Role::TextInput) && !band
                })
                .collect();
            for (n, (name, _, a)) in words.iter().enumerate() {
                for (other, _, b) in &words[n + 1..] {
                    let (a, b) = (a.shrink2(vec2(4.0, 3.0)), b.shrink2(vec2(4.0, 3.0)));
                    assert!(!a.intersects(b), "{size:?} {scale}: {name} {a:?} and {other} {b:?}");
                }
            }
            let required = if file_dialog { ["save it", "cancel"] } else { ["measure again", "save"] };
            for name in required {
                assert!(words.iter().any(|(other, ..)| other == name), "{size:?}: {name}");
            }
        }
    }
}

#[test]
fn every_stage_can_be_reached_by_scrolling_in_the_smallest_window() {
    let (mut page, _) = Track::measured().open(MIN_SIZE, 1.0);
    assert!(page.query_by_label("Output row").is_none_or(|row| row.rect().top() > 400.0));
    let at = page.get_by_label("Trim row").rect().center();
    page.event(Event::PointerMoved(at));
    page.run_steps(1);
    page.event(Event::MouseWheel {
        unit: egui::MouseWheelUnit::Point,
        source: egui::MouseWheelSource::Wheel,
        delta: vec2(0.0, -2_000.0),
        phase: egui::TouchPhase::Move,
        modifiers: egui::Modifiers::NONE,
    });
    page.run_steps(30);
    let rect = page.get_by_label("Output row").rect();
    assert!(rect.bottom() < MIN_SIZE[1] - 60.0, "{rect:?}");
}

/// Asserts that all controls present in both states have the same left ends.
fn assert_no_jump(what: &str, before: &[(String, Role, Rect)], after: &[(String, Role, Rect)]) {
    let index = |all: &[(String, Role, Rect)]| -> BTreeMap<String, Vec<f32>> {
        let mut map = BTreeMap::<String, Vec<f32>>::new();
        for (name, role, rect) in all {
            // A handle follows its band.
            if *role != Role::Slider {
                map.entry(name.clone()).or_default().push(rect.left());
            }
        }
        map
    };
    let (before, after) = (index(before), index(after));
    let mut count = 0;
    for (name, left) in &before {
        if let Some(now) = after.get(name) {
            assert_eq!(left, now, "{what}: {name} has jumped");
            count += 1;
        }
    }
    assert!(count > 40, "{what}: {count}");
}

#[test]
fn controls_keep_their_places_while_values_change() {
    for &stage in StageId::ALL {
        let mut page = opened(stage);
        let before = places(&page);
        for info in stage.rows().iter().filter(|info| info.name != "on" && !info.id.ends_with("gain_db")) {
            for value in [info.min, info.max, info.default] {
                page.state_mut().settings.set(info.id, value).unwrap();
                page.run_steps(1);
                assert_no_jump(info.id, &before, &places(&page));
            }
        }
    }
}

#[test]
fn controls_keep_their_places_while_playing_measuring_and_comparing() {
    let mut page = open(Track::measured());
    let before = places(&page);
    page.state_mut().play(40.0);
    page.run_steps(1);
    assert_no_jump("heavy reduction", &before, &places(&page));
    for mode in [MonitorMode::Unprocessed, MonitorMode::Removed, MonitorMode::Processed] {
        page.state_mut().monitoring.mode = mode;
        page.run_steps(1);
        assert_no_jump("monitor modes", &before, &places(&page));
    }
    page.state_mut().measuring = true;
    page.run_steps(1);
    assert_no_jump("measuring", &before, &places(&page));
    page.state_mut().message = Some("a message ".repeat(60));
    page.run_steps(1);
    assert_no_jump("a long message", &before, &places(&page));
}

#[test]
fn a_tooltip_shows_the_explanation_of_the_setting() {
    let mut page = open(Track::measured());
    for (name, id) in [("High-pass frequency", "high_pass.frequency_hz"), ("Limiter ceiling", "limiter.ceiling_dbtp")] {
        let explanation = voicechain_core::settings::row(id).unwrap().explanation;
        assert!(page.query_by_label(explanation).is_none());
        page.get_by_label(name).hover();
        page.run_steps(30);
        assert!(page.query_by_label(explanation).is_some(), "{name}: {explanation}");
        assert!(page.query_by_label(&format!("{name}: {explanation}")).is_some(), "the hint line shows it too");
    }
}

#[test]
fn a_file_is_chosen_by_its_path() {
    let mut page = open(Track::measured());
    press(&mut page, "save");
    assert_eq!(page.state().actions, [UserAction::ChooseFile(FileOperation::Save)]);
    assert!(page.query_by_label("choose it in the system's window, or type its path here").is_some());
    assert!(!page.state().page.is_typing(), "the system's dialog has the focus");
    // The system has no dialog.
    page.state_mut().file_dialog.as_mut().unwrap().2 = false;
    page.run_steps(3);
    assert!(page.state().page.is_typing());
    assert!(page.query_by_label("this system shows no window for choosing files: type the path here").is_some());
    page.state_mut().actions.clear();
    page.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
    page.event(Event::Text("/tmp/mine.toml".into()));
    page.run_steps(1);
    page.key_press(Key::Enter);
    page.run_steps(3);
    let actions = |replace| UserAction::EnterPath { path: "/tmp/mine.toml".into(), replace };
    assert_eq!(page.state().actions, [actions(false)]);
    // The file exists: it is replaced only after "replace it" has been pressed.
    page.state_mut().actions.clear();
    page.state_mut().file_dialog.as_mut().unwrap().3 = "/tmp/mine.toml".into();
    page.run_steps(2);
    assert!(page.query_by_label("there is such a file already: replace it, or change the path").is_some());
    press(&mut page, "replace it");
    assert_eq!(page.state().actions, [actions(true)]);
    press(&mut page, "cancel");
    assert_eq!(page.state().actions.last(), Some(&UserAction::CancelFile));
    assert!(page.query_by_label("save").is_some(), "the commands are shown again");
    press(&mut page, "open");
    page.state_mut().file_dialog.as_mut().unwrap().2 = false;
    page.run_steps(3);
    assert!(page.query_by_label("open it").is_some());
    page.key_press(Key::Escape);
    page.run_steps(3);
    assert_eq!(page.state().actions.last(), Some(&UserAction::CancelFile));
    assert_complete_gestures(&page.state().actions);
}

#[test]
fn a_message_is_shown_in_the_hint_line() {
    let mut track = Track::measured();
    track.message = Some("a.toml: not a settings file; use a file that this program wrote".into());
    let page = open(track);
    assert!(page.query_by_label("a.toml: not a settings file; use a file that this program wrote").is_some());
}

#[test]
fn the_hint_line_says_why_the_sound_passes_through() {
    let notice = "voicechain processes 8 to 192 kHz; at 384 kHz it passes the sound through";
    let mut page = open(Track::measured());
    assert!(page.query_by_label(notice).is_none());
    page.state_mut().pass_through = Some(notice.into());
    page.run_steps(1);
    assert!(page.query_by_label(notice).is_some());
    // A message comes first.
    page.state_mut().message = Some("copied".into());
    page.run_steps(1);
    assert!(page.query_by_label("copied").is_some() && page.query_by_label(notice).is_none());
}

/// A turn of the wheel is one gesture over any number of frames.
#[test]
fn a_turn_of_the_wheel_is_one_gesture() {
    let mut page = open(Track::measured());
    let at = page.get_by_label("Corrective EQ bell 3 handle").rect().center();
    page.event(Event::PointerMoved(at));
    page.run_steps(2);
    page.event(Event::MouseWheel {
        unit: egui::MouseWheelUnit::Point,
        source: egui::MouseWheelSource::Wheel,
        delta: vec2(0.0, 60.0),
        phase: egui::TouchPhase::Move,
        modifiers: egui::Modifiers::NONE,
    });
    page.run_steps(30);
    let begun = page.state().actions.iter().filter(|action| matches!(action, UserAction::BeginGesture(..))).count();
    let set = page.state().actions.iter().filter(|action| matches!(action, UserAction::SetValue(..))).count();
    assert_eq!(begun, 1, "{:?}", page.state().actions);
    assert!(set >= 1);
    assert_complete_gestures(&page.state().actions);
}

#[test]
fn a_readout_follows_the_pointer() {
    let mut page = open(Track::measured());
    let texts = |page: &Harness<'static, Track>| {
        let mut texts = Vec::new();
        for clipped in &page.output().shapes {
            if let egui::Shape::Text(text) = &clipped.shape {
                texts.push(text.galley.text().to_string());
            }
        }
        texts
    };
    let handle = page.get_by_label("Tone EQ bell handle").rect().center();
    page.hover_at(handle + vec2(30.0, -30.0));
    page.run_steps(2);
    assert!(texts(&page).iter().any(|text| text.contains("kHz  ") && text.ends_with(" dB")), "{:?}", texts(&page));
    page.hover_at(pos2(400.0, 130.0));
    page.run_steps(2);
    assert!(
        texts(&page).iter().any(|text| text.contains("  before ") && text.contains("  after ")),
        "{:?}",
        texts(&page)
    );
    assert!(page.query_by_label_contains("against published speech").is_some());
}
