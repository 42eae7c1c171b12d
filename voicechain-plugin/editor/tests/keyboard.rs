//! Accessibility tests: keyboard order, focus, names and roles.

use crate::controls::{Opened, open, opened, press};
use crate::track::Track;
use egui::accesskit::Role;
use egui::{Event, Key, Modifiers};
use egui_kittest::kittest::{By, NodeT, Queryable};
use voicechain_core::settings::{StageId, row};
use voicechain_editor::{DEFAULT_SIZE, FileOperation, UserAction};

/// Name and rectangle of the focused control.
fn focused(page: &Opened) -> Option<(String, egui::Rect)> {
    let focused = page.query_all(By::new().predicate(|node| node.is_focused())).last()?;
    let role = focused.accesskit_node().role();
    if !CONTROLS.contains(&role) {
        assert!(matches!(role, Role::Window | Role::GenericContainer | Role::Unknown), "{role:?}");
        return None;
    }
    let name = focused.accesskit_node().label();
    Some((name.unwrap_or_else(|| panic!("a {role:?} without a name has the focus")), focused.rect()))
}

/// Controls that the tab key reaches, in order.
fn by_tab(page: &mut Opened) -> Vec<(String, egui::Rect)> {
    let mut seen: Vec<(String, egui::Rect)> = Vec::new();
    for _ in 0..250 {
        page.key_press(Key::Tab);
        page.run_steps(1);
        let Some(next) = focused(page) else { continue };
        if seen.len() > 1 && seen[0] == next {
            break;
        }
        if seen.last() != Some(&next) {
            seen.push(next);
        }
    }
    seen
}

#[test]
fn the_tab_order_is_the_reading_order() {
    let mut page = open(Track::measured());
    let seen = by_tab(&mut page);
    let place =
        |name: &str| seen.iter().position(|(other, _)| other == name).unwrap_or_else(|| panic!("{name}: {seen:?}"));
    let order = [
        "processed",
        "unprocessed",
        "removed",
        "loudness match",
        "hear 455 Hz alone",
        "hear the cut at 455 Hz",
        "High-pass handle",
        "Corrective EQ bell 1 handle",
        "Tone EQ high shelf handle",
        "Trim row",
        "Trim gain",
        "High-pass row",
        "High-pass on",
        "High-pass frequency",
        "Limiter row",
        "Output gain",
        "measure again",
        "propose",
        "undo",
        "copy",
        "paste",
        "carry over",
        "starting points",
        "open",
        "save",
        "dark",
        "+",
    ];
    let places = order.map(place);
    assert!(places.is_sorted(), "{places:?} {seen:?}");
    // Disabled buttons are skipped.
    assert!(!seen.iter().any(|(name, _)| name == "redo"));
    assert!(page.state().actions.is_empty(), "moving the focus changes nothing");
}

#[test]
fn the_focused_control_is_marked() {
    for dark in [false, true] {
        let mut track = Track::measured();
        track.page.dark = dark;
        track.page.open_row(StageId::DeEsser);
        let mut page = track.open([1_080.0, 1_100.0], 1.0).0;
        let unfocused = page.output().shapes.clone();
        let mut count = 0;
        for _ in 0..200 {
            page.key_press(Key::Tab);
            page.run_steps(1);
            let Some((name, rect)) = focused(&page) else { continue };
            let around = rect.expand(8.0);
            let marks = page.output().shapes.iter().filter(|shape| !unfocused.contains(shape));
            let marks = marks.filter(|shape| around.intersects(shape.shape.visual_bounding_rect()));
            assert!(marks.count() > 0, "no mark shows that {name} has the focus");
            count += 1;
        }
        assert!(count > 150);
    }
}

/// Roles of controls.
const CONTROLS: [Role; 8] = [
    Role::Button,
    Role::CheckBox,
    Role::RadioButton,
    Role::Slider,
    Role::SpinButton,
    Role::ComboBox,
    Role::DisclosureTriangle,
    Role::TextInput,
];

#[test]
fn every_control_has_a_name_a_role_and_a_value() {
    for stage in [StageId::Compressor, StageId::CorrectiveEq, StageId::Limiter] {
        let mut page = opened(stage);
        page.run_steps(1);
        let mut count = 0;
        for node in page.query_all(By::new().predicate(|node| CONTROLS.contains(&node.role()))) {
            let node = node.accesskit_node();
            assert!(node.label().is_some_and(|name| !name.is_empty()), "a {:?} without a name", node.role());
            count += 1;
        }
        assert!(count > 40, "{count}");
        for (name, role) in [
            ("processed", Role::RadioButton),
            ("loudness match", Role::CheckBox),
            ("Compressor on", Role::CheckBox),
            ("Compressor row", Role::DisclosureTriangle),
            ("High-pass frequency", Role::SpinButton),
            ("High-pass slope", Role::ComboBox),
            ("Tone EQ bell handle", Role::Slider),
            ("hear 455 Hz alone", Role::Button),
            ("propose", Role::Button),
        ] {
            let node = page.get_all_by_label(name).next().unwrap();
            assert_eq!(node.accesskit_node().role(), role, "{name}");
        }
        let frequency = page.get_all_by_label("High-pass frequency").next().unwrap();
        assert_eq!(frequency.value().as_deref(), Some("70 Hz"));
        let bell = page.get_by_label("Tone EQ bell handle");
        assert!(bell.value().unwrap().contains("0.0 dB  Q "), "{:?}", bell.value());
    }
}

#[test]
fn assistive_technology_steps_a_setting() {
    let mut page = open(Track::measured());
    let info = row("high_pass.frequency_hz").unwrap();
    for (up, steps) in [(true, 1.0), (false, -1.0)] {
        let before = page.state().settings.high_pass.frequency_hz;
        let node = page.get_by_label("High-pass frequency");
        node.focus();
        if up {
            node.increment_accesskit()
        } else {
            node.decrement_accesskit()
        }
        page.run_steps(3);
        assert_eq!(page.state().settings.high_pass.frequency_hz, info.stepped(before, steps));
    }
}

/// Enter and space press the focused button.
#[test]
fn every_button_is_pressed_by_keyboard() {
    for key in [Key::Enter, Key::Space] {
        let mut page = open(Track { can_undo_redo: [true; 2], ..Track::measured() });
        for (name, action) in [
            ("undo", UserAction::Undo),
            ("redo", UserAction::Redo),
            ("copy", UserAction::Copy),
            ("paste", UserAction::Paste(None)),
            ("carry over", UserAction::CarryOver),
            ("unprocessed", UserAction::SetMonitorMode(voicechain_core::strip::MonitorMode::Unprocessed)),
            ("processed", UserAction::SetMonitorMode(voicechain_core::strip::MonitorMode::Processed)),
            ("loudness match", UserAction::SetLoudnessMatch(false)),
            ("measure again", UserAction::StartMeasuring),
            ("stop measuring", UserAction::StopMeasuring),
            ("open", UserAction::ChooseFile(FileOperation::Open)),
        ] {
            page.state_mut().actions.clear();
            page.get_by_label(name).focus();
            page.run_steps(2);
            page.key_press(key);
            page.run_steps(3);
            assert_eq!(page.state().actions, [action], "{name} {key:?}");
        }
        page.state_mut().file_dialog = None;
        page.run_steps(2);
        page.get_by_label("propose").focus();
        page.run_steps(2);
        page.key_press(key);
        page.run_steps(3);
        assert!(page.query_by_label("apply").is_some());
        for name in ["Compressor row", "Compressor on"] {
            page.get_by_label(name).focus();
            page.run_steps(2);
            page.key_press(key);
            page.run_steps(3);
        }
        assert!(page.query_by_label("Compressor knee").is_some(), "the row is open");
    }
}

#[test]
fn every_handle_is_moved_by_keyboard_and_reset_by_double_click() {
    for band in ["Corrective EQ bell 1", "Corrective EQ bell 4", "Tone EQ low shelf", "Tone EQ bell", "High-pass"] {
        // 20 ms per frame, fast enough for a double-click.
        let mut page = Track::measured().open_at(DEFAULT_SIZE, 1.0, 0.02).0;
        let before = page.state().settings;
        let name = format!("{band} handle");
        page.get_by_label(&name).focus();
        page.run_steps(2);
        for key in [Key::ArrowRight, Key::ArrowUp] {
            let last = page.state().settings;
            page.key_press(key);
            page.run_steps(2);
            let moves = key == Key::ArrowRight || band != "High-pass";
            assert_eq!(page.state().settings != last, moves, "{band} {key:?}");
        }
        // A double-click resets the band to its defaults.
        let at = page.get_by_label(&name).rect().center();
        page.hover_at(at);
        page.run_steps(1);
        for _ in 0..2 {
            for pressed in [true, false] {
                let modifiers = Modifiers::NONE;
                page.event(Event::PointerButton { pos: at, button: egui::PointerButton::Primary, pressed, modifiers });
                page.run_steps(1);
            }
        }
        page.run_steps(3);
        assert_eq!(page.state().settings, before, "{band}");
        crate::controls::assert_complete_gestures(&page.state().actions);
    }
}

#[test]
fn undo_and_redo_have_keyboard_shortcuts() {
    let mut page = open(Track { can_undo_redo: [true; 2], ..Track::measured() });
    page.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    page.run_steps(2);
    page.key_press_modifiers(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    page.run_steps(2);
    assert_eq!(page.state().actions, [UserAction::Undo, UserAction::Redo]);
    press(&mut page, "redo");
    assert_eq!(page.state().actions.last(), Some(&UserAction::Redo));
}
