//! Tests of the editor in a real window: embedded by a host, operated by pointer and keyboard, checked by screenshots.
//!
//! `VOICECHAIN_PICTURES=folder` writes the screenshots, among them the second picture of the README.

mod places;

use places::ControlPositions;
use std::path::PathBuf;
use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering::Relaxed;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use voicechain_core::StripSettings;
use voicechain_core::settings::{SettingInfo, row};
use voicechain_editor::DEFAULT_SIZE;
use voicechain_host_tests::screen::{Screen, Screenshot, home, wait_until};
use voicechain_host_tests::{HostedPlugin, ParameterEvent, resources};
use voicechain_tests::recordings;

const RATE_HZ: f64 = 48_000.0;
/// Length of the speech that is played and measured, frames.
const SPEECH: usize = 40 * 48_000;
/// Background of the light colours.
const PAPER: [u8; 3] = [0xFB, 0xFA, 0xF6];

/// Serialises the tests, because a process has one display.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
/// Number of tests that run or wait, each on a thread of its own.
static TESTS: AtomicUsize = AtomicUsize::new(0);

/// Exclusive use of the screen by one test.
struct ScreenLock {
    _alone: MutexGuard<'static, ()>,
}

impl ScreenLock {
    fn take() -> Self {
        TESTS.fetch_add(1, Relaxed);
        // A failed test leaves nothing behind that affects the next one.
        Self { _alone: ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner) }
    }
}

impl Drop for ScreenLock {
    fn drop(&mut self) {
        TESTS.fetch_sub(1, Relaxed);
    }
}

/// Number of threads of this process, without those of the tests.
fn threads() -> Option<usize> {
    Some(resources::threads()?.saturating_sub(TESTS.load(Relaxed)))
}

/// Plugin with an open editor.
struct Opened {
    plugin: HostedPlugin,
    window: u32,
    size: [u32; 2],
    screen: &'static Screen,
    /// Number of threads before the editor was opened.
    threads: Option<usize>,
}

impl Opened {
    fn new() -> Self {
        let mut plugin = HostedPlugin::new(1);
        assert!(plugin.activate(RATE_HZ, 480));
        let opened = Self::of(plugin);
        assert_eq!(opened.size, DEFAULT_SIZE.map(|points| points as u32));
        opened
    }

    fn of(mut plugin: HostedPlugin) -> Self {
        let screen = Screen::of_this_process();
        let window = screen.window(DEFAULT_SIZE[0] as u32, DEFAULT_SIZE[1] as u32);
        let (start, threads) = (Instant::now(), threads());
        let size = plugin.open_window(window).expect("the editor opens");
        screen.resize(window, size[0], size[1]);
        let mut opened = Self { plugin, window, size, screen, threads };
        wait_until("the first picture", || {
            opened.plugin.main_thread();
            opened.capture().at(4, 4) == PAPER
        });
        println!("opened and drawn after {:.0} ms", 1e3 * start.elapsed().as_secs_f64());
        screen.wait_for_redraw();
        opened
    }

    fn capture(&self) -> Screenshot {
        self.screen.capture(self.size[0], self.size[1])
    }

    fn keep(&self, name: &str) {
        if let Some(folder) = std::env::var_os("VOICECHAIN_PICTURES") {
            self.capture().write(&PathBuf::from(folder).join(name).with_extension("png"));
        }
    }

    /// Restarts the plugin if it has requested it, as a host does for a new latency.
    fn restart_if_requested(&mut self) {
        if self.plugin.requests.restarts.swap(0, Relaxed) > 0 {
            self.plugin.deactivate();
            assert!(self.plugin.activate(RATE_HZ, 480));
        }
    }

    /// Processes samples; returns the output.
    fn play(&mut self, samples: &[f32]) -> Vec<f32> {
        let mut signal = vec![samples.to_vec()];
        self.plugin.run(&mut signal, &[], || 480);
        signal.remove(0)
    }

    /// Processes samples in pieces of a tenth of a second, with a redraw after each, so that the meter keeps up.
    fn play_slowly(&mut self, samples: &[f32]) {
        for piece in samples.chunks(4_800) {
            self.play(piece);
            self.screen.wait_for_redraw();
        }
    }

    fn click(&self, at: [f32; 2]) {
        self.screen.click(at);
        // The pointer leaves, so that no control is marked.
        self.screen.move_pointer([DEFAULT_SIZE[0] - 2.0, DEFAULT_SIZE[1] - 2.0]);
    }

    fn value(&mut self, info: &SettingInfo) -> f64 {
        let id = self.plugin.parameter(info).id;
        self.plugin.value(id).expect("a value")
    }

    /// Processes silence until the recorded parameter events fulfil a condition.
    fn wait_for_events(&mut self, what: &str, condition: impl Fn(&[ParameterEvent]) -> bool) {
        wait_until(what, || {
            self.play(&[0.0; 480]);
            condition(&self.plugin.parameter_events)
        });
    }
}

impl Drop for Opened {
    fn drop(&mut self) {
        self.plugin.close_editor();
        self.screen.close(self.window);
        // The threads of the window end by themselves. If the process ended first, it would unload the graphics driver
        // that they use.
        if !std::thread::panicking() {
            wait_until("the end of the window's threads", || threads() <= self.threads);
        }
    }
}

/// White noise, which every stage changes.
fn noise(samples: usize) -> Vec<f32> {
    let mut state = 1u32;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / (1 << 23) as f32 - 1.0
    };
    (0..samples).map(|_| 0.5 * next()).collect()
}

#[test]
fn dragging_a_handle_in_the_window_changes_the_output() {
    let _lock = ScreenLock::take();
    let mut opened = Opened::new();
    let (frequency, gain) =
        (row("corrective_eq.bell_3_frequency_hz").unwrap(), row("corrective_eq.bell_3_gain_db").unwrap());
    let before = [opened.value(frequency), opened.value(gain)];
    opened.plugin.reset();
    let sound = opened.play(&noise(9_600));
    opened.plugin.reset();
    assert!(opened.play(&noise(9_600)) == sound, "the output is constant without a change");
    let at = ControlPositions::of(&StripSettings::default()).centre_of("Corrective EQ bell 3 handle");
    opened.plugin.parameter_events.clear();
    opened.screen.drag(at, [at[0] + 40.0, at[1] + 40.0]);
    let ids = [opened.plugin.parameter(frequency).id, opened.plugin.parameter(gain).id];
    opened.wait_for_events("the end of the gestures", |events| {
        ids.iter().all(|id| events.contains(&ParameterEvent::End(*id)))
    });
    for id in ids {
        let own_events = opened.plugin.parameter_events.iter().filter(
            |events| matches!(events, ParameterEvent::Begin(other) | ParameterEvent::End(other) | ParameterEvent::Value(other, _) if *other == id),
        );
        let own_events: Vec<_> = own_events.copied().collect();
        assert!(own_events.len() > 3, "{own_events:?}");
        assert_eq!(
            (own_events[0], own_events[own_events.len() - 1]),
            (ParameterEvent::Begin(id), ParameterEvent::End(id))
        );
    }
    assert!(opened.value(frequency) > before[0], "to the right: higher");
    assert!(opened.value(gain) < before[1], "downwards: less");
    opened.plugin.reset();
    assert!(opened.play(&noise(9_600)) != sound);
    assert_eq!(*opened.plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

/// Editor embedded in a window of the host, not yet shown.
struct Embedded {
    plugin: HostedPlugin,
    window: u32,
    screen: &'static Screen,
    threads: Option<usize>,
}

impl Embedded {
    fn new() -> Self {
        let screen = Screen::of_this_process();
        let window = screen.window(DEFAULT_SIZE[0] as u32, DEFAULT_SIZE[1] as u32);
        let mut plugin = HostedPlugin::new(1);
        assert!(plugin.activate(RATE_HZ, 480));
        let threads = threads();
        plugin.embed(window).expect("the editor is created");
        Self { plugin, window, screen, threads }
    }

    /// Waits for the time of several frames.
    fn wait_several_frames(&mut self) {
        for _ in 0..5 {
            self.screen.wait_for_redraw();
            self.plugin.main_thread();
        }
    }

    fn is_drawn(&mut self) -> bool {
        self.plugin.main_thread();
        self.screen.capture(8, 8).at(4, 4) == PAPER
    }
}

impl Drop for Embedded {
    fn drop(&mut self) {
        self.plugin.close_editor();
        self.screen.close(self.window);
        if !std::thread::panicking() {
            wait_until("the end of the window's threads", || threads() <= self.threads);
        }
    }
}

/// Any time may pass between creating the editor and showing it.
#[test]
fn an_editor_shown_late_is_drawn() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    embedded.wait_several_frames();
    assert!(!embedded.is_drawn(), "it is not shown yet");
    embedded.plugin.show_window().expect("the editor is shown");
    wait_until("the first picture", || embedded.is_drawn());
}

/// Hosts with XEmbed sockets show the embedded window themselves, some time after the editor has requested it.
#[test]
fn an_editor_is_drawn_when_the_host_shows_it_after_the_request() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    embedded.screen.redirect(embedded.window);
    embedded.plugin.show_window().expect("the editor is shown");
    let mut request = None;
    wait_until("the editor's request to be shown", || {
        request = embedded.screen.map_request();
        request.is_some()
    });
    // Signal is processed meanwhile, so that redraws are requested.
    for _ in 0..20 {
        embedded.plugin.run(&mut [vec![0.1; 480]], &[], || 480);
    }
    embedded.wait_several_frames();
    assert!(!embedded.is_drawn(), "the host has not shown it yet");
    embedded.screen.map(request.expect("a window"));
    wait_until("the first picture", || embedded.is_drawn());
}

#[test]
fn a_hidden_editor_is_drawn_again_when_shown() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    embedded.plugin.show_window().expect("the editor is shown");
    wait_until("the first picture", || embedded.is_drawn());
    for _ in 0..2 {
        embedded.plugin.hide_window().expect("the editor is hidden");
        wait_until("the host's own window", || !embedded.is_drawn());
        embedded.wait_several_frames();
        embedded.plugin.show_window().expect("the editor is shown");
        wait_until("the picture", || embedded.is_drawn());
    }
}

/// A size set by the host also applies before the window exists.
#[test]
fn an_editor_resized_before_it_is_shown_has_that_size() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    let wanted = [1_200, 900];
    embedded.screen.resize(embedded.window, wanted[0], wanted[1]);
    assert!(embedded.plugin.resize_editor(wanted[0], wanted[1]), "the host may resize it");
    assert_eq!(embedded.plugin.editor_size(), Some(wanted));
    embedded.plugin.show_window().expect("the editor is shown");
    wait_until("a picture up to its corner", || {
        embedded.plugin.main_thread();
        embedded.screen.capture(wanted[0], wanted[1]).at(wanted[0] as usize - 4, 4) == PAPER
    });
}

/// A click and the movement away within one frame count as a click on the control.
#[test]
fn clicks_within_one_frame_count() {
    let _lock = ScreenLock::take();
    let opened = Opened::new();
    let places = ControlPositions::of(&StripSettings::default());
    let away = [DEFAULT_SIZE[0] - 2.0, DEFAULT_SIZE[1] - 2.0];
    for round in 0..6 {
        opened.screen.click_and_leave(places.centre_of("dark"), away);
        wait_until("the other colours", || (opened.capture().at(4, 4) == PAPER) == (round % 2 == 1));
    }
}

/// Window size and zoom are saved in the state, and another instance opens with them.
#[test]
fn size_and_zoom_are_kept_in_the_state() {
    let _lock = ScreenLock::take();
    let mut opened = Opened::new();
    let places = ControlPositions::of(&StripSettings::default());
    opened.click(places.centre_of("+"));
    // The zoom changes one frame later. The window layer then sets a size of its own, which must not coincide with the
    // resize by the host.
    wait_until("the zoom in the state", || {
        opened.plugin.main_thread();
        opened.screen.wait_for_redraw();
        opened.plugin.save().is_some_and(|state| String::from_utf8_lossy(&state).contains(" 1.25 "))
    });
    (0..3).for_each(|_| opened.screen.wait_for_redraw());
    let wanted = [1_300, 960];
    opened.screen.resize(opened.window, wanted[0], wanted[1]);
    assert!(opened.plugin.resize_editor(wanted[0], wanted[1]), "the host may resize it");
    opened.size = wanted;
    wait_until("the new size", || {
        opened.plugin.main_thread();
        opened.capture().at(wanted[0] as usize - 4, 4) == PAPER
    });
    wait_until("the size in the state", || {
        opened.plugin.main_thread();
        opened.screen.wait_for_redraw();
        opened.plugin.save().is_some_and(|state| String::from_utf8_lossy(&state).contains("1.25 1300x960"))
    });
    assert_eq!(opened.plugin.editor_size(), Some(wanted), "the host gets the size of the window, not of the page");
    opened.screen.move_pointer([8.0, 8.0]);
    opened.screen.wait_for_redraw();
    let (state, shown) = (opened.plugin.save().expect("a state"), opened.capture());
    drop(opened);
    let mut other = HostedPlugin::new(1);
    assert!(other.load(&state));
    assert!(other.activate(RATE_HZ, 480));
    let other = Opened::of(other);
    assert_eq!(other.size, wanted, "the size");
    other.screen.move_pointer([8.0, 8.0]);
    // A row marked by the pointer may differ; another zoom would move all text.
    wait_until("the same picture", || other.capture().difference(&shown) < 0.02);
}

/// The path of the settings file is typed, because this screen has no file dialog.
#[test]
fn a_settings_file_is_saved_and_opened() {
    let _lock = ScreenLock::take();
    const ENTER: u8 = 36;
    let mut opened = Opened::new();
    std::fs::create_dir_all(home()).expect("a folder");
    let file = home().join("voice.toml");
    let places = ControlPositions::of(&StripSettings::default());
    let (initial, commands) = (opened.capture(), places.bounds_of("measure"));
    // The path field replaces the commands.
    let path_field_shown = |opened: &Opened| !opened.capture().same_within(&initial, commands);
    opened.screen.focus(opened.window);
    opened.click(places.centre_of("save"));
    wait_until("the path field", || path_field_shown(&opened));
    wait_until("a saved file", || {
        opened.screen.key(ENTER);
        file.exists()
    });
    let text = || std::fs::read_to_string(&file).expect("the saved file");
    wait_until("the complete file", || voicechain_text::read(&text()).is_ok());
    assert_eq!(voicechain_text::read(&text()), Ok(StripSettings::default()));
    wait_until("the end of the path field", || !path_field_shown(&opened));
    let trim = row("trim.gain_db").expect("a setting");
    std::fs::write(&file, "format = 1\n[trim]\ngain_db = 5.0\n").expect("a file");
    for (written, gain_db) in [("format = 1\n[trim]\ngain_db = 5.0\n", 5.0), ("no settings", 5.0)] {
        std::fs::write(&file, written).expect("a file");
        opened.click(places.centre_of("open"));
        wait_until("the path field", || path_field_shown(&opened));
        opened.plugin.parameter_events.clear();
        if written.starts_with("format") {
            let id = opened.plugin.parameter(trim).id;
            wait_until("the opened trim", || {
                opened.screen.key(ENTER);
                opened.play(&[0.0; 480]);
                opened.plugin.parameter_events.contains(&ParameterEvent::End(id))
            });
            wait_until("the end of the path field", || !path_field_shown(&opened));
        } else {
            let before = opened.capture();
            wait_until("the error message", || {
                opened.screen.key(ENTER);
                opened.capture().difference(&before) > 0.002
            });
            opened.play(&[0.0; 4_800]);
            assert_eq!(opened.plugin.parameter_events, [], "a bad file changes nothing");
        }
        assert_eq!(opened.value(trim), voicechain_host_tests::clap_value(trim, gain_db));
    }
    std::fs::remove_dir_all(home()).expect("its own folder");
}

/// The editor takes the keyboard focus only while it is being used.
#[test]
fn the_host_keeps_the_keyboard() {
    let _lock = ScreenLock::take();
    let opened = Opened::new();
    opened.screen.focus(opened.window);
    opened.screen.move_pointer([300.0, 300.0]);
    assert_eq!(opened.screen.focused(), opened.window, "pointer movement does not take the focus");
}

#[test]
#[ignore = "needs recordings: tests/run fetches them"]
fn real_speech_is_measured_and_processed_as_proposed() {
    let _lock = ScreenLock::take();
    // Part of the package that tests/run fetches.
    let speaker = recordings::speaker("fillets nl m");
    assert!(speaker.samples.len() >= SPEECH);
    let speech = &speaker.samples[..SPEECH];
    let mut opened = Opened::new();
    let places = ControlPositions::of(&StripSettings::default());
    // The first command shows the state of the measurement.
    let first_command = places.bounds_of("measure");
    let wait_for_change = |opened: &Opened, what: &str, before: &Screenshot| {
        wait_until(what, || !opened.capture().same_within(before, first_command));
        opened.capture()
    };
    let empty = opened.capture();
    opened.keep("empty");
    opened.click(places.centre_of("measure"));
    let measuring = wait_for_change(&opened, "measuring", &empty);
    opened.play_slowly(&speech[..480_000]);
    opened.keep("measuring");
    opened.play_slowly(&speech[480_000..]);
    opened.click(places.centre_of("measure"));
    let measured = wait_for_change(&opened, "the end of measuring", &measuring);
    assert!(measured.difference(&empty) > 0.01, "the measurement is shown");
    opened.plugin.reset();
    let before = opened.play(speech);
    opened.plugin.parameter_events.clear();
    opened.click(places.centre_of("propose"));
    let preview = wait_for_change(&opened, "the preview", &measured);
    opened.keep("previewed");
    assert_eq!(opened.plugin.parameter_events, [], "the preview changes nothing");
    opened.click(places.apply());
    let trim = opened.plugin.parameter(row("trim.gain_db").unwrap()).id;
    opened.wait_for_events("a proposed trim", |events| {
        events.iter().any(|events| matches!(events, ParameterEvent::Value(id, _) if *id == trim))
    });
    // All events precede the first frame without the preview.
    let _ = wait_for_change(&opened, "the end of the preview", &preview);
    opened.play(&[0.0; 4_800]);
    opened.restart_if_requested();
    opened.plugin.reset();
    let after = opened.play(speech);
    assert!(after != before, "the proposal changes the output");
    opened.play_slowly(&speech[..480_000]);
    opened.keep("proposed");
    opened.click(places.centre_of("dark"));
    wait_until("the dark colours", || opened.capture().at(4, 4) != PAPER);
    opened.screen.wait_for_redraw();
    opened.keep("proposed-dark");
    opened.click(places.centre_of("dark"));
    wait_until("the light colours", || opened.capture().at(4, 4) == PAPER);

    // The three monitor modes.
    let latency = opened.plugin.latency() as usize;
    let bypass = opened.plugin.parameters()[0].id;
    opened.plugin.parameter_events.clear();
    opened.click(places.centre_of("unprocessed"));
    opened.wait_for_events("the bypass", |events| events.contains(&ParameterEvent::Value(bypass, 1.0)));
    opened.plugin.reset();
    let plain = opened.play(speech);
    // Equal bit for bit; compared without `assert_eq`, which would print all samples.
    assert!(plain[latency..] == speech[..speech.len() - latency], "unprocessed is the delayed input");
    opened.click(places.centre_of("removed"));
    opened.wait_for_events("the end of the bypass", |events| events.contains(&ParameterEvent::Value(bypass, 0.0)));
    opened.plugin.reset();
    let removed = opened.play(speech);
    opened.click(places.centre_of("processed"));
    wait_until("the processed output", || {
        opened.plugin.reset();
        opened.play(&speech[..48_000]) == after[..48_000]
    });
    // The processed and the removed signal add up to the input.
    let off = (latency..speech.len()).map(|n| f64::from(removed[n] + after[n] - speech[n - latency]).powi(2));
    let input: f64 = speech.iter().map(|sample| f64::from(*sample).powi(2)).sum();
    let error_db = 10.0 * (off.sum::<f64>() / input).log10();
    println!("processed + removed - input: {error_db:.1} dB relative to the input");
    assert!(error_db < -100.0, "{error_db}");
    assert_eq!(*opened.plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}
