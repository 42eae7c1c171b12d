//! The real editor in a real window: embedded by a host, handled by pointer and keys, seen on a screen.
//!
//! `VOICECHAIN_PICTURES=folder` writes what was seen: the second picture of the README.

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
/// What is played of a speaker: enough to measure, frames.
const SPEECH: usize = 40 * 48_000;
/// The paper of the light look.
const PAPER: [u8; 3] = [0xFB, 0xFA, 0xF6];

/// There is one display for all of a process.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
/// Tests that run, or wait for their turn, each on a thread of its own.
static TESTS: AtomicUsize = AtomicUsize::new(0);

/// A test's turn.
struct ScreenLock {
    _alone: MutexGuard<'static, ()>,
}

impl ScreenLock {
    fn take() -> Self {
        TESTS.fetch_add(1, Relaxed);
        // A test that failed has not left anything behind that the next one uses.
        Self { _alone: ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner) }
    }
}

impl Drop for ScreenLock {
    fn drop(&mut self) {
        TESTS.fetch_sub(1, Relaxed);
    }
}

/// Threads of this process that are no test's own.
fn threads() -> Option<usize> {
    Some(resources::threads()?.saturating_sub(TESTS.load(Relaxed)))
}

/// A plugin with its editor open.
struct Opened {
    plugin: HostedPlugin,
    window: u32,
    size: [u32; 2],
    screen: &'static Screen,
    /// Threads of this process before.
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

    /// Starts the plugin afresh if it has asked for that, as a host does when the latency is to change.
    fn restart_if_asked(&mut self) {
        if self.plugin.requests.restarts.swap(0, Relaxed) > 0 {
            self.plugin.deactivate();
            assert!(self.plugin.activate(RATE_HZ, 480));
        }
    }

    /// Plays and gives what comes out.
    fn play(&mut self, samples: &[f32]) -> Vec<f32> {
        let mut signal = vec![samples.to_vec()];
        self.plugin.run(&mut signal, &[], || 480);
        signal.remove(0)
    }

    /// Plays fast enough for a test and slowly enough for whoever listens: a tenth of a second for each drawing.
    fn play_slowly(&mut self, samples: &[f32]) {
        for piece in samples.chunks(4_800) {
            self.play(piece);
            self.screen.wait_for_redraw();
        }
    }

    fn click(&self, at: [f32; 2]) {
        self.screen.click(at);
        // Away again, so that nothing is marked.
        self.screen.move_pointer([DEFAULT_SIZE[0] - 2.0, DEFAULT_SIZE[1] - 2.0]);
    }

    fn value(&mut self, info: &SettingInfo) -> f64 {
        let id = self.plugin.parameter(info).id;
        self.plugin.value(id).expect("a value")
    }

    /// Gives the plugin time and sound until it has said something; forgets what it said before.
    fn says(&mut self, what: &str, holds: impl Fn(&[ParameterEvent]) -> bool) {
        wait_until(what, || {
            self.play(&[0.0; 480]);
            holds(&self.plugin.parameter_events)
        });
    }
}

impl Drop for Opened {
    fn drop(&mut self) {
        self.plugin.close_editor();
        self.screen.close(self.window);
        // The window's threads end by themselves. A process that ended before them would take the graphics driver away
        // from under them.
        if !std::thread::panicking() {
            wait_until("the end of the window's threads", || threads() <= self.threads);
        }
    }
}

/// Some noise that no stage leaves as it is.
fn noise(samples: usize) -> Vec<f32> {
    let mut state = 1u32;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / (1 << 23) as f32 - 1.0
    };
    (0..samples).map(|_| 0.5 * next()).collect()
}

#[test]
fn a_handle_is_dragged_in_a_window_and_the_sound_changes() {
    let _lock = ScreenLock::take();
    let mut opened = Opened::new();
    let (frequency, gain) =
        (row("corrective_eq.bell_3_frequency_hz").unwrap(), row("corrective_eq.bell_3_gain_db").unwrap());
    let before = [opened.value(frequency), opened.value(gain)];
    opened.plugin.reset();
    let sound = opened.play(&noise(9_600));
    opened.plugin.reset();
    assert!(opened.play(&noise(9_600)) == sound, "the same sound while nothing is moved");
    let at = ControlPositions::of(&StripSettings::default()).centre_of("Corrective EQ bell 3 handle");
    opened.plugin.parameter_events.clear();
    opened.screen.drag(at, [at[0] + 40.0, at[1] + 40.0]);
    let ids = [opened.plugin.parameter(frequency).id, opened.plugin.parameter(gain).id];
    opened.says("the end of the gestures", |events| ids.iter().all(|id| events.contains(&ParameterEvent::End(*id))));
    for id in ids {
        let of_it = opened.plugin.parameter_events.iter().filter(
            |events| matches!(events, ParameterEvent::Begin(other) | ParameterEvent::End(other) | ParameterEvent::Value(other, _) if *other == id),
        );
        let of_it: Vec<_> = of_it.copied().collect();
        assert!(of_it.len() > 3, "{of_it:?}");
        assert_eq!((of_it[0], of_it[of_it.len() - 1]), (ParameterEvent::Begin(id), ParameterEvent::End(id)));
    }
    assert!(opened.value(frequency) > before[0], "to the right: higher");
    assert!(opened.value(gain) < before[1], "downwards: less");
    opened.plugin.reset();
    assert!(opened.play(&noise(9_600)) != sound);
    assert_eq!(*opened.plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}

/// An editor in a window of the host's, embedded and not shown yet.
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
        plugin.embed(window).expect("the editor is made");
        Self { plugin, window, screen, threads }
    }

    /// Lets time for several drawings go by.
    fn take_time(&mut self) {
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

/// A host may take its time between making the editor and showing it.
#[test]
fn an_editor_that_is_shown_late_is_drawn() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    embedded.take_time();
    assert!(!embedded.is_drawn(), "nobody has shown it");
    embedded.plugin.show_window().expect("the editor is shown");
    wait_until("the first picture", || embedded.is_drawn());
}

/// Hosts that embed by a socket of XEmbed show what is in it themselves, some time after the editor has asked for it.
#[test]
fn an_editor_whose_host_shows_it_later_is_drawn() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    embedded.screen.redirect(embedded.window);
    embedded.plugin.show_window().expect("the editor is shown");
    let mut asks = None;
    wait_until("the editor's asking to be shown", || {
        asks = embedded.screen.asks_to_be_shown();
        asks.is_some()
    });
    // Sound comes meanwhile, and the host moves something: reasons to draw.
    for _ in 0..20 {
        embedded.plugin.run(&mut [vec![0.1; 480]], &[], || 480);
    }
    embedded.take_time();
    assert!(!embedded.is_drawn(), "the host has not shown it yet");
    embedded.screen.map(asks.expect("a window"));
    wait_until("the first picture", || embedded.is_drawn());
}

#[test]
fn an_editor_that_was_hidden_is_drawn_again() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    embedded.plugin.show_window().expect("the editor is shown");
    wait_until("the first picture", || embedded.is_drawn());
    for _ in 0..2 {
        embedded.plugin.hide_window().expect("the editor is hidden");
        wait_until("the host's own window", || !embedded.is_drawn());
        embedded.take_time();
        embedded.plugin.show_window().expect("the editor is shown");
        wait_until("the picture", || embedded.is_drawn());
    }
}

/// The host's size counts before the window is there, too.
#[test]
fn an_editor_that_is_resized_before_it_is_shown_has_that_size() {
    let _lock = ScreenLock::take();
    let mut embedded = Embedded::new();
    let wanted = [1_200, 900];
    embedded.screen.resize(embedded.window, wanted[0], wanted[1]);
    assert!(embedded.plugin.resize_editor(wanted[0], wanted[1]), "the host may resize it");
    assert_eq!(embedded.plugin.editor_size(), Some(wanted));
    embedded.plugin.show_window().expect("the editor is shown");
    wait_until("a picture to its corner", || {
        embedded.plugin.main_thread();
        embedded.screen.capture(wanted[0], wanted[1]).at(wanted[0] as usize - 4, 4) == PAPER
    });
}

/// What the pointer does between two drawings is one click, not one beside the control.
#[test]
fn clicks_faster_than_a_drawing_count() {
    let _lock = ScreenLock::take();
    let opened = Opened::new();
    let places = ControlPositions::of(&StripSettings::default());
    let away = [DEFAULT_SIZE[0] - 2.0, DEFAULT_SIZE[1] - 2.0];
    for round in 0..6 {
        opened.screen.click_and_leave(places.centre_of("dark"), away);
        wait_until("the other paper", || (opened.capture().at(4, 4) == PAPER) == (round % 2 == 1));
    }
}

/// The host's size and the person's zoom are in the state, and another instance opens as this one was.
#[test]
fn size_and_zoom_are_kept_in_the_state() {
    let _lock = ScreenLock::take();
    let mut opened = Opened::new();
    let places = ControlPositions::of(&StripSettings::default());
    opened.click(places.centre_of("+"));
    // The zoom comes a drawing later, and the window layer sets a size of its own with it, which must not meet the host's.
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
    assert_eq!(opened.plugin.editor_size(), Some(wanted), "the host is told the window's size, not the page's");
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
    // But for a row that the pointer has marked; another zoom moves every letter.
    wait_until("the same picture", || other.capture().difference(&shown) < 0.02);
}

/// A settings file, by a path that is typed: this screen has no window for choosing one.
#[test]
fn a_settings_file_is_saved_and_opened() {
    let _lock = ScreenLock::take();
    const ENTER: u8 = 36;
    let mut opened = Opened::new();
    std::fs::create_dir_all(home()).expect("a folder");
    let file = home().join("voice.toml");
    let places = ControlPositions::of(&StripSettings::default());
    let (bare, actions) = (opened.capture(), places.bounds_of("measure"));
    // It stands in place of the actions.
    let line_of_the_path = |opened: &Opened| !opened.capture().same_within(&bare, actions);
    opened.screen.focus(opened.window);
    opened.click(places.centre_of("save"));
    wait_until("the line of the path", || line_of_the_path(&opened));
    wait_until("a saved file", || {
        opened.screen.key(ENTER);
        file.exists()
    });
    let text = || std::fs::read_to_string(&file).expect("what was saved");
    wait_until("all of it", || voicechain_text::read(&text()).is_ok());
    assert_eq!(voicechain_text::read(&text()), Ok(StripSettings::default()));
    wait_until("the end of the line", || !line_of_the_path(&opened));
    let trim = row("trim.gain_db").expect("a setting");
    std::fs::write(&file, "format = 1\n[trim]\ngain_db = 5.0\n").expect("a file");
    for (written, gain_db) in [("format = 1\n[trim]\ngain_db = 5.0\n", 5.0), ("no settings", 5.0)] {
        std::fs::write(&file, written).expect("a file");
        opened.click(places.centre_of("open"));
        wait_until("the line of the path", || line_of_the_path(&opened));
        opened.plugin.parameter_events.clear();
        if written.starts_with("format") {
            let id = opened.plugin.parameter(trim).id;
            wait_until("the opened trim", || {
                opened.screen.key(ENTER);
                opened.play(&[0.0; 480]);
                opened.plugin.parameter_events.contains(&ParameterEvent::End(id))
            });
            wait_until("the end of the line", || !line_of_the_path(&opened));
        } else {
            let asked = opened.capture();
            wait_until("the line that says why not", || {
                opened.screen.key(ENTER);
                opened.capture().difference(&asked) > 0.002
            });
            opened.play(&[0.0; 4_800]);
            assert_eq!(opened.plugin.parameter_events, [], "a bad file changes nothing");
        }
        assert_eq!(opened.value(trim), voicechain_host_tests::clap_value(trim, gain_db));
    }
    std::fs::remove_dir_all(home()).expect("its own folder");
}

/// An editor that has the keyboard only while somebody works in it.
#[test]
fn the_host_keeps_the_keyboard() {
    let _lock = ScreenLock::take();
    let opened = Opened::new();
    opened.screen.focus(opened.window);
    opened.screen.move_pointer([300.0, 300.0]);
    assert_eq!(opened.screen.focused(), opened.window, "a pointer that passes by takes nothing");
}

#[test]
#[ignore = "needs recordings: tests/run fetches them"]
fn real_speech_is_measured_proposed_for_and_compared() {
    let _lock = ScreenLock::take();
    // Of the package that tests/run fetches.
    let speaker = recordings::speaker("fillets nl m");
    assert!(speaker.samples.len() >= SPEECH);
    let speech = &speaker.samples[..SPEECH];
    let mut opened = Opened::new();
    let places = ControlPositions::of(&StripSettings::default());
    // The first word of the actions says how far it is.
    let first_word = places.bounds_of("measure");
    let waits_for = |opened: &Opened, what: &str, before: &Screenshot| {
        wait_until(what, || !opened.capture().same_within(before, first_word));
        opened.capture()
    };
    let empty = opened.capture();
    opened.keep("empty");
    opened.click(places.centre_of("measure"));
    let measuring = waits_for(&opened, "measuring", &empty);
    opened.play_slowly(&speech[..480_000]);
    opened.keep("measuring");
    opened.play_slowly(&speech[480_000..]);
    opened.click(places.centre_of("measure"));
    let measured = waits_for(&opened, "the end of measuring", &measuring);
    assert!(measured.difference(&empty) > 0.01, "what was measured is shown");
    opened.plugin.reset();
    let before = opened.play(speech);
    opened.plugin.parameter_events.clear();
    opened.click(places.centre_of("propose"));
    let preview = waits_for(&opened, "what would change", &measured);
    opened.keep("previewed");
    assert_eq!(opened.plugin.parameter_events, [], "nothing changes before it is applied");
    opened.click(places.apply());
    let trim = opened.plugin.parameter(row("trim.gain_db").unwrap()).id;
    opened.says("a proposed trim", |events| {
        events.iter().any(|events| matches!(events, ParameterEvent::Value(id, _) if *id == trim))
    });
    // All of them are told before the page is drawn without the preview.
    let _ = waits_for(&opened, "the end of the preview", &preview);
    opened.play(&[0.0; 4_800]);
    opened.restart_if_asked();
    opened.plugin.reset();
    let after = opened.play(speech);
    assert!(after != before, "the proposal is heard");
    opened.play_slowly(&speech[..480_000]);
    opened.keep("proposed");
    opened.click(places.centre_of("dark"));
    wait_until("the dark paper", || opened.capture().at(4, 4) != PAPER);
    opened.screen.wait_for_redraw();
    opened.keep("proposed-dark");
    opened.click(places.centre_of("dark"));
    wait_until("the light paper", || opened.capture().at(4, 4) == PAPER);

    // The three monitor modes.
    let latency = opened.plugin.latency() as usize;
    let bypass = opened.plugin.parameters()[0].id;
    opened.plugin.parameter_events.clear();
    opened.click(places.centre_of("unprocessed"));
    opened.says("the bypass", |events| events.contains(&ParameterEvent::Value(bypass, 1.0)));
    opened.plugin.reset();
    let plain = opened.play(speech);
    // Equal to the last bit; not in an assertion that would print it all.
    assert!(plain[latency..] == speech[..speech.len() - latency], "unprocessed is the input, later");
    opened.click(places.centre_of("removed"));
    opened.says("the end of the bypass", |events| events.contains(&ParameterEvent::Value(bypass, 0.0)));
    opened.plugin.reset();
    let removed = opened.play(speech);
    opened.click(places.centre_of("processed"));
    wait_until("the processed sound", || {
        opened.plugin.reset();
        opened.play(&speech[..48_000]) == after[..48_000]
    });
    // What is heard and what is removed are the input together.
    let off = (latency..speech.len()).map(|n| f64::from(removed[n] + after[n] - speech[n - latency]).powi(2));
    let input: f64 = speech.iter().map(|sample| f64::from(*sample).powi(2)).sum();
    let error_db = 10.0 * (off.sum::<f64>() / input).log10();
    println!("processed and removed are the input but for {error_db:.1} dB");
    assert!(error_db < -100.0, "{error_db}");
    assert_eq!(*opened.plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}
