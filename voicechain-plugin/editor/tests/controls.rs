//! Tests of every control by pointer and keyboard, found by its name.

use crate::track::Track;
use egui::{Event, Key, Modifiers, PointerButton, Pos2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use voicechain_core::propose::{TrialBell, trial_bell};
use voicechain_core::settings::{ReorderableStage, SectionId, SpectralLatency, StageId, row};
use voicechain_core::strip::{AuditionBand, MonitorMode, StartingPoint};
use voicechain_core::units::Unit;
use voicechain_editor::{DEFAULT_SIZE, FileOperation, MIN_SIZE, UserAction};

pub(crate) type Opened = Harness<'static, Track>;

pub(crate) fn open(track: Track) -> Opened {
    track.open(DEFAULT_SIZE, 1.0).0
}

pub(crate) fn press(page: &mut Opened, name: &str) {
    page.get_by_label(name).click();
    page.run_steps(3);
}

fn place(page: &Opened, name: &str) -> Pos2 {
    page.get_by_label(name).rect().center()
}

fn drag(page: &mut Opened, from: Pos2, by: egui::Vec2, modifiers: Modifiers) {
    page.event_modifiers(Event::PointerMoved(from), modifiers);
    page.run_steps(1);
    let button = |pos, pressed| Event::PointerButton { pos, button: PointerButton::Primary, pressed, modifiers };
    page.event_modifiers(button(from, true), modifiers);
    page.run_steps(1);
    for n in 1..=8 {
        page.event_modifiers(Event::PointerMoved(from + by * (n as f32 / 8.0)), modifiers);
        page.run_steps(1);
    }
    page.event_modifiers(button(from + by, false), modifiers);
    page.run_steps(2);
}

fn type_text(page: &mut Opened, name: &str, text: &str) {
    press(page, name);
    let mut letters = text.chars();
    page.event(Event::Text(letters.next().unwrap().to_string()));
    page.run_steps(3);
    page.event(Event::Text(letters.collect()));
    page.run_steps(2);
    page.key_press(Key::Enter);
    page.run_steps(3);
}

/// Asserts that every gesture is complete: begin, values, end.
pub(crate) fn assert_complete_gestures(actions: &[UserAction]) {
    let mut open = std::collections::BTreeSet::new();
    for action in actions {
        match action {
            UserAction::BeginGesture(stage, row) => assert!(open.insert((stage.id(), *row)), "{actions:?}"),
            UserAction::SetValue(stage, row, _) => assert!(open.contains(&(stage.id(), *row)), "{actions:?}"),
            UserAction::EndGesture(stage, row) => assert!(open.remove(&(stage.id(), *row)), "{actions:?}"),
            _ => {}
        }
    }
    assert!(open.is_empty(), "{actions:?}");
}

/// A click and the movement away from it, and a drag, arrive within one frame.
#[test]
fn pointer_events_within_one_frame_are_not_lost() {
    let mut page = open(Track::measured());
    let (at, away) = (place(&page, "removed"), Pos2::new(DEFAULT_SIZE[0] - 2.0, DEFAULT_SIZE[1] - 2.0));
    let modifiers = Modifiers::NONE;
    let button = |pos, pressed| Event::PointerButton { pos, button: PointerButton::Primary, pressed, modifiers };
    page.state_mut().actions.clear();
    let click = [Event::PointerMoved(at), button(at, true), button(at, false), Event::PointerMoved(away)];
    page.input_mut().events.extend(click);
    page.run_steps(4);
    assert_eq!(page.state().actions, [UserAction::SetMonitorMode(MonitorMode::Removed)]);
    // A release elsewhere in the same frame is not a click.
    page.state_mut().actions.clear();
    let at = place(&page, "processed");
    let drag = [Event::PointerMoved(at), button(at, true), Event::PointerMoved(away), button(away, false)];
    page.input_mut().events.extend(drag);
    page.run_steps(4);
    assert_eq!(page.state().actions, []);
    assert!(page.ctx.input(|input| input.pointer.latest_pos()) == Some(away), "the delayed events have arrived");
    // A click, and another on a button that appears after the first.
    let propose = place(&page, "propose");
    press(&mut page, "propose");
    let apply = place(&page, "apply");
    press(&mut page, "leave as it is");
    page.state_mut().actions.clear();
    for at in [propose, apply] {
        page.input_mut().events.extend([Event::PointerMoved(at), button(at, true), button(at, false)]);
    }
    page.input_mut().events.push(Event::PointerMoved(away));
    page.run_steps(6);
    assert_eq!(page.state().actions, [UserAction::ApplyProposal]);
}

#[test]
fn a_long_press_counts_as_a_click() {
    let mut page = open(Track::measured());
    let (at, modifiers) = (place(&page, "removed"), Modifiers::NONE);
    page.state_mut().actions.clear();
    for pressed in [true, false] {
        let button = Event::PointerButton { pos: at, button: PointerButton::Primary, pressed, modifiers };
        page.input_mut().events.extend([Event::PointerMoved(at), button]);
        // A quarter of a second per step.
        page.run_steps(8);
    }
    assert_eq!(page.state().actions, [UserAction::SetMonitorMode(MonitorMode::Removed)]);
}

#[test]
fn every_button_returns_its_user_action() {
    let mut page = open(Track::measured());
    let candidate = page.state().profile.unwrap().resonances.unwrap()[0].unwrap();
    let TrialBell { frequency_hz, gain_db, q } = trial_bell(&candidate);
    for (name, action) in [
        ("measure again", UserAction::StartMeasuring),
        ("stop measuring", UserAction::StopMeasuring),
        ("undo", UserAction::Undo),
        ("copy", UserAction::Copy),
        ("paste", UserAction::Paste(None)),
        ("carry over", UserAction::CarryOver),
        ("unprocessed", UserAction::SetMonitorMode(MonitorMode::Unprocessed)),
        ("removed", UserAction::SetMonitorMode(MonitorMode::Removed)),
        ("processed", UserAction::SetMonitorMode(MonitorMode::Processed)),
        ("loudness match", UserAction::SetLoudnessMatch(false)),
        (
            "hear 455 Hz alone",
            UserAction::SetAuditionBand(AuditionBand::BandPass {
                frequency_hz: candidate.frequency_hz,
                q: candidate.q,
            }),
        ),
        ("hear the cut at 455 Hz", UserAction::SetAuditionBand(AuditionBand::BellCut { frequency_hz, gain_db, q })),
        ("hear the cut at 455 Hz", UserAction::SetAuditionBand(AuditionBand::Full)),
        ("open", UserAction::ChooseFile(FileOperation::Open)),
    ] {
        page.state_mut().actions.clear();
        press(&mut page, name);
        assert_eq!(page.state().actions, [action], "{name}");
    }
    press(&mut page, "cancel");
    // Nothing can be redone.
    page.state_mut().actions.clear();
    press(&mut page, "redo");
    assert!(page.state().actions.is_empty());
    press(&mut page, "dark");
    assert!(page.state().page.dark);
    press(&mut page, "light");
    press(&mut page, "+");
    assert_eq!(page.state().page.zoom, 1.25);
    press(&mut page, "\u{2212}");
    assert_eq!(page.state().page.zoom, 1.0);
}

#[test]
fn a_proposal_is_shown_before_it_is_applied() {
    let mut page = open(Track::measured());
    let before = page.state().settings;
    press(&mut page, "propose");
    assert_eq!(page.state().settings, before, "nothing is changed yet");
    press(&mut page, "leave as it is");
    assert_eq!(page.state().settings, before);
    press(&mut page, "propose");
    press(&mut page, "apply");
    assert_eq!(page.state().actions, [UserAction::ApplyProposal]);
    assert!(page.query_by_label("apply").is_none());
    // Without a measurement there is no proposal.
    let mut page = open(Track::empty());
    press(&mut page, "propose");
    assert!(page.query_by_label("apply").is_none());
}

#[test]
fn starting_points_are_in_a_menu() {
    let mut page = open(Track::empty());
    for point in StartingPoint::ALL {
        press(&mut page, "starting points");
        press(&mut page, point.name());
        assert_eq!(page.state().actions.last(), Some(&UserAction::ApplyStartingPoint(point)));
        assert_eq!(page.state().settings, point.settings());
    }
}

#[test]
fn every_stage_is_switched_on_and_off() {
    let mut page = open(Track::measured());
    for &stage in StageId::ALL {
        let value = |page: &Opened, name: &str| page.state().settings.get(&format!("{}.{name}", stage.id()));
        let Some(on) = value(&page, "on") else { continue };
        press(&mut page, &format!("{} on", stage.name()));
        assert_eq!(value(&page, "on"), Some(1.0 - on), "{}", stage.name());
        press(&mut page, &format!("{} on", stage.name()));
        assert_eq!(value(&page, "on"), Some(on), "{}", stage.name());
    }
    // Switching a spectral stage on selects the latency that it needs.
    assert_eq!(page.state().settings.spectral.latency, SpectralLatency::High);
    assert_complete_gestures(&page.state().actions);
}

/// Page with one open row, tall enough to show all of it.
pub(crate) fn opened(stage: StageId) -> Opened {
    let mut track = Track::measured();
    track.page.open_row(stage);
    track.settings.compressor.on = true;
    track.open([DEFAULT_SIZE[0], 1_000.0], 1.0).0
}

#[test]
fn an_open_row_shows_the_reasons_of_the_proposal() {
    let mut page = opened(StageId::Compressor);
    let reason = page.state().proposal.unwrap();
    let reason = reason.reasons().find(|reason| reason.stage() == "compressor").unwrap().to_string();
    page.run_steps(1);
    assert!(page.query_by_label(&reason).is_some(), "{reason}");
    let page = opened(StageId::Limiter);
    assert!(page.query_by_label(&reason).is_none());
}

#[test]
fn an_open_row_of_a_stage_that_was_left_off_shows_why() {
    let proposal = Track::measured().proposal.unwrap();
    let off = proposal.left_off().next().expect("a stage that the example voice does not need");
    let mut page = opened(off.stage);
    page.run_steps(1);
    assert!(page.query_by_label(&off.to_string()).is_some(), "{off}");
    assert!(opened(StageId::Limiter).query_by_label(&off.to_string()).is_none());
}

#[test]
fn every_setting_is_dragged_stepped_and_reset() {
    for &stage in StageId::ALL {
        let mut page = opened(stage);
        for info in stage.rows().iter().filter(|info| info.name != "on") {
            let name = format!("{} {}", stage.name(), info.name);
            let name = name.as_str();
            // The last control of this name, because the row itself shows the main settings too.
            let spot = |page: &Opened| page.get_all_by_label(name).last().unwrap().rect().center();
            let value = |page: &Opened| page.state().settings.get(info.id).unwrap();
            let at = spot(&page);
            let click = |page: &mut Opened| {
                for pressed in [true, false] {
                    page.event(Event::PointerMoved(at));
                    let modifiers = Modifiers::NONE;
                    page.event(Event::PointerButton { pos: at, button: PointerButton::Primary, pressed, modifiers });
                    page.run_steps(1);
                }
            };
            if matches!(info.unit, Unit::Switch | Unit::Choice) {
                let before = value(&page);
                click(&mut page);
                assert_ne!(value(&page), before, "{name}");
                assert_complete_gestures(&page.state().actions);
                continue;
            }
            let start = value(&page);
            drag(&mut page, at, egui::vec2(-40.0, 0.0), Modifiers::NONE);
            let dragged = value(&page);
            assert!(dragged < start || start == info.min, "{name}: {start} to {dragged}");
            assert_complete_gestures(&page.state().actions);
            page.key_press(Key::ArrowUp);
            page.run_steps(2);
            assert_eq!(value(&page), info.stepped(dragged, 1.0), "{name}");
            page.key_press(Key::Delete);
            page.run_steps(2);
            assert_eq!(value(&page), info.default, "{name}");
            assert_complete_gestures(&page.state().actions);
        }
    }
}

#[test]
fn values_are_typed_with_or_without_their_unit() {
    for (id, text, expected) in [
        ("compressor.threshold_db", "-24", -24.0),
        ("compressor.ratio", "4:1", 4.0),
        ("compressor.release_ms", "0.2 s", 200.0),
        ("high_pass.frequency_hz", "95 Hz", 95.0),
        ("de_esser.frequency_hz", "6.5k", 6_500.0),
        ("trim.gain_db", "\u{2212}3", -3.0),
    ] {
        let info = row(id).unwrap();
        let section = SectionId::ALL.iter().find(|section| section.id() == info.section).unwrap();
        let mut track = Track::measured();
        track.settings.compressor.on = true;
        let mut page = open(track);
        type_text(&mut page, &format!("{} {}", section.name(), info.name), text);
        assert_eq!(page.state().settings.get(id), Some(expected), "{id} {text}");
        assert_complete_gestures(&page.state().actions);
    }
}

#[test]
fn an_invalid_value_is_refused_and_keeps_the_field_open() {
    let mut track = Track::measured();
    track.settings.compressor.on = true;
    let before = track.settings;
    let mut page = open(track);
    for text in ["abc", "-18 Hz", "1.2.3", "--"] {
        type_text(&mut page, "Compressor threshold", text);
        assert_eq!(page.state().settings, before, "{text}");
        // The field stays open; Escape closes it.
        page.key_press(Key::Escape);
        page.run_steps(3);
        assert_eq!(page.state().settings, before, "{text}");
    }
    assert!(page.state().actions.iter().all(|action| !matches!(action, UserAction::SetValue(..))));
}

#[test]
fn a_handle_is_dragged_for_frequency_and_gain() {
    let mut page = open(Track::measured());
    let before = page.state().settings.corrective_eq;
    let at = place(&page, "Corrective EQ bell 3 handle");
    drag(&mut page, at, egui::vec2(30.0, 25.0), Modifiers::NONE);
    let after = page.state().settings.corrective_eq;
    assert!(after.bell_3_frequency_hz > 1.2 * before.bell_3_frequency_hz, "{after:?}");
    assert!(after.bell_3_gain_db < -1.0, "{after:?}");
    assert_eq!(after.bell_3_q, before.bell_3_q);
    assert_complete_gestures(&page.state().actions);
    let at = place(&page, "Corrective EQ bell 3 handle");
    drag(&mut page, at, egui::vec2(0.0, -30.0), Modifiers::ALT);
    let narrower = page.state().settings.corrective_eq;
    assert!(narrower.bell_3_q > after.bell_3_q && narrower.bell_3_gain_db == after.bell_3_gain_db, "{narrower:?}");
    assert_complete_gestures(&page.state().actions);
    // Keyboard: the handle has had the focus since the drag.
    page.key_press(Key::ArrowUp);
    page.key_press(Key::ArrowRight);
    page.key_press(Key::Plus);
    page.run_steps(3);
    let nudged = page.state().settings.corrective_eq;
    assert!(nudged.bell_3_gain_db > narrower.bell_3_gain_db, "{nudged:?}");
    assert!(nudged.bell_3_frequency_hz > narrower.bell_3_frequency_hz && nudged.bell_3_q > narrower.bell_3_q);
    // Mouse wheel.
    let at = place(&page, "Corrective EQ bell 3 handle");
    page.event(Event::PointerMoved(at));
    page.run_steps(2);
    page.event(Event::MouseWheel {
        unit: egui::MouseWheelUnit::Point,
        source: egui::MouseWheelSource::Wheel,
        delta: egui::vec2(0.0, -60.0),
        phase: egui::TouchPhase::Move,
        modifiers: Modifiers::NONE,
    });
    page.run_steps(20);
    assert!(page.state().settings.corrective_eq.bell_3_q < nudged.bell_3_q);
    assert_complete_gestures(&page.state().actions);
}

#[test]
fn every_band_has_a_handle() {
    let page = open(Track::measured());
    for name in ["High-pass", "Corrective EQ bell 1", "Tone EQ low shelf", "Tone EQ bell", "Tone EQ high shelf"] {
        assert!(page.query_by_label(&format!("{name} handle")).is_some(), "{name}");
    }
}

#[test]
fn a_reorderable_stage_moves_in_the_chain() {
    let mut page = opened(StageId::DeEsser);
    press(&mut page, "De-esser later");
    assert_eq!(page.state().settings.order[2], ReorderableStage::DeEsser);
    press(&mut page, "De-esser earlier");
    press(&mut page, "De-esser earlier");
    assert_eq!(page.state().settings.order[0], ReorderableStage::DeEsser);
    page.state_mut().actions.clear();
    press(&mut page, "De-esser earlier");
    assert!(page.state().actions.is_empty(), "the first stage cannot move earlier");
}

#[test]
fn the_tab_key_reaches_every_control() {
    let mut page = open(Track::measured());
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..120 {
        page.key_press(Key::Tab);
        page.run_steps(1);
        if let Some(id) = page.ctx.memory(|memory| memory.focused()) {
            seen.insert(format!("{id:?}"));
        }
    }
    assert!(seen.len() > 40, "{}", seen.len());
    assert!(page.state().actions.is_empty(), "moving the focus changes nothing");
}

#[test]
fn an_idle_page_is_not_redrawn() {
    let mut page = open(Track::measured());
    page.run_steps(5);
    let delay = page.output().viewport_output.values().map(|viewport| viewport.repaint_delay).min().unwrap();
    assert!(delay > std::time::Duration::from_secs(1), "{delay:?}");
}

#[test]
fn non_finite_values_are_drawn() {
    for size in [MIN_SIZE, [300.0, 200.0], [3_840.0, 2_160.0]] {
        let mut track = Track::measured();
        let profile = track.profile.as_mut().unwrap();
        profile.level.active_s = f64::NAN;
        if let Ok(tonal_balance) = &mut profile.tonal_balance {
            tonal_balance.deviation_db = [Some(f64::NEG_INFINITY); 25];
            tonal_balance.deviation_db[3] = Some(f64::NAN);
            tonal_balance.deviation_db[7] = None;
        }
        track.play(f64::INFINITY);
        track.page.open_row(StageId::Limiter);
        track.open(size, 1.0);
    }
}
