//! Tests of typed values for every setting: with unit, without unit, and invalid text.

use crate::controls::{Opened, assert_complete_gestures, opened};
use egui::{Event, Key, Modifiers, PointerButton};
use egui_kittest::kittest::Queryable;
use voicechain_core::settings::{SettingInfo, StageId};
use voicechain_core::units::Unit;

/// Clicks a setting of an open row and types a text.
fn type_into(page: &mut Opened, name: &str, text: &str) {
    // The last control of this name, because the row itself shows the main settings too.
    let at = page.get_all_by_label(name).last().unwrap().rect().center();
    for pressed in [true, false] {
        page.event(Event::PointerMoved(at));
        let modifiers = Modifiers::NONE;
        page.event(Event::PointerButton { pos: at, button: PointerButton::Primary, pressed, modifiers });
        page.run_steps(1);
    }
    page.key_press(Key::Enter);
    page.run_steps(2);
    page.key_press_modifiers(Modifiers::COMMAND, Key::A);
    page.event(Event::Text(text.into()));
    page.run_steps(1);
    page.key_press(Key::Enter);
    page.run_steps(2);
}

fn numbers(stage: StageId) -> impl Iterator<Item = (&'static SettingInfo, String)> {
    let typed = |info: &&SettingInfo| !matches!(info.unit, Unit::Switch | Unit::Choice);
    stage.rows().iter().filter(typed).map(move |info| (info, format!("{} {}", stage.name(), info.name)))
}

#[test]
fn every_setting_accepts_a_typed_value() {
    for &stage in StageId::ALL {
        let mut page = opened(stage);
        for (n, (info, name)) in numbers(stage).enumerate() {
            // Alternately with and without the unit.
            let wanted = info.rounded(info.on_step(info.value_at(if n % 2 == 0 { 0.3 } else { 0.8 })));
            let text = if n % 2 == 0 { info.text(wanted).to_string() } else { format!("{wanted}") };
            type_into(&mut page, &name, &text);
            let value = page.state().settings.get(info.id).unwrap();
            assert!((value - wanted).abs() <= 1e-9 + 0.005 * wanted.abs(), "{name}: {text} became {value}");
        }
        assert_complete_gestures(&page.state().actions);
    }
}

#[test]
fn every_setting_refuses_an_invalid_value_and_states_what_is_valid() {
    for &stage in StageId::ALL {
        let mut page = opened(stage);
        let before = page.state().settings;
        for (info, name) in numbers(stage) {
            let text = "12 quarts";
            type_into(&mut page, &name, text);
            assert_eq!(page.state().settings, before, "{name}: {text}");
            let message = format!("\u{201c}{text}\u{201d} is no {}: ", info.name);
            assert!(page.query_by_label_contains(&message).is_some(), "{name}: {message}");
            // The field stays open; Escape closes it.
            assert!(page.state().page.is_typing());
            page.key_press(Key::Escape);
            page.run_steps(2);
            assert!(!page.state().page.is_typing(), "{name}");
        }
        assert_eq!(page.state().settings, before);
        assert_eq!(page.state().actions, [], "{}", stage.name());
    }
}

#[test]
fn a_comma_that_may_separate_thousands_is_refused_with_advice() {
    let mut page = opened(StageId::HighPass);
    let before = page.state().settings;
    type_into(&mut page, "High-pass frequency", "2,500 Hz");
    assert_eq!(page.state().settings, before);
    let message = "\u{201c}2,500 Hz\u{201d}: leave out the comma, or write a decimal point; 20 Hz to 400 Hz";
    assert!(page.query_by_label_contains(message).is_some());
    // Negative control: a decimal comma is accepted.
    page.key_press(Key::Escape);
    page.run_steps(2);
    type_into(&mut page, "High-pass frequency", "82,5 Hz");
    assert!((page.state().settings.high_pass.frequency_hz - 82.5).abs() < 0.01);
}
