//! Memory of two hundred openings of the editor's window, compared with as many openings of an empty window of the same
//! window layer. In a process of its own, so that no other test allocates.

use egui_baseview::{App, EguiWindow, EguiWindowSettings, Frame};
use nice_plug::editor::ParentWindowHandle;
use std::num::NonZeroU32;
use voicechain_editor::DEFAULT_SIZE;
use voicechain_host_tests::screen::{Screen, wait_until};
use voicechain_host_tests::{HostedPlugin, resources};

/// Measured openings of each kind, and unmeasured ones before them (empty window, editor). The latter fill caches of
/// the graphics driver and the process: with an empty window, those of the driver grow for some 250 openings.
const OPENINGS: usize = 200;
const WARM_UP: [usize; 2] = [300, 100];
/// Maximum memory leaked per opening of the editor, relative to an empty window, bytes.
const MAX_LEAK_BYTES: f64 = 1_024.0;

/// Window that shows only its background.
struct EmptyWindow;

impl App for EmptyWindow {
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut Frame) {
        let paper = voicechain_editor::Palette::of(false).paper;
        ui.painter().rect_filled(ui.ctx().content_rect(), 0.0, paper);
    }
}

/// Calls `open_and_close` with a host window, `warm_up` times and then [`OPENINGS`] times; returns the bytes leaked per
/// measured opening.
fn leaked_per_opening(screen: &Screen, what: &str, warm_up: usize, mut open_and_close: impl FnMut(u32)) -> Option<f64> {
    let threads = resources::threads();
    let mut before = None;
    for round in 0..warm_up + OPENINGS {
        let window = screen.window(DEFAULT_SIZE[0] as u32, DEFAULT_SIZE[1] as u32);
        open_and_close(window);
        screen.close(window);
        // The threads of the window end by themselves and hold memory until then.
        wait_until("the end of the window's threads", || resources::threads() <= threads);
        if round + 1 == warm_up {
            before = resources::heap_bytes();
        }
    }
    let leaked = (resources::heap_bytes()? as f64 - before? as f64) / OPENINGS as f64;
    println!("{what}: {leaked:.0} bytes leaked per opening");
    Some(leaked)
}

#[test]
#[ignore = "long: tests/run runs it in release"]
fn two_hundred_openings_leak_no_more_than_an_empty_window() {
    let screen = Screen::of_this_process();
    let empty = screen.capture(8, 8);
    let empty_window = leaked_per_opening(screen, "an empty window", WARM_UP[0], |window| {
        let parent = NonZeroU32::new(window).map(ParentWindowHandle::XcbWindow);
        let size = nice_plug::editor::dpi::LogicalSize::new(f64::from(DEFAULT_SIZE[0]), f64::from(DEFAULT_SIZE[1]));
        let settings = EguiWindowSettings::new().with_size(size).with_parent(parent.as_ref());
        let opened = EguiWindow::create(settings, EmptyWindow).expect("a window opens");
        opened.show().expect("it is shown");
        wait_until("a picture", || screen.capture(8, 8) != empty);
        drop(opened);
    });
    let mut plugin = HostedPlugin::new(1);
    assert!(plugin.activate(48_000.0, 480));
    let mut times = Vec::new();
    let editor = leaked_per_opening(screen, "the editor", WARM_UP[1], |window| {
        let empty = screen.capture(8, 8);
        let start = std::time::Instant::now();
        plugin.open_window(window).expect("the editor opens");
        wait_until("a picture", || {
            plugin.main_thread();
            screen.capture(8, 8) != empty
        });
        times.push(start.elapsed().as_secs_f64());
        plugin.run(&mut [vec![0.1; 480]], &[], || 480);
        plugin.close_editor();
    });
    times.sort_by(f64::total_cmp);
    let (median, longest) = (times[times.len() / 2], times[times.len() - 1]);
    println!("the editor is drawn after {:.0} ms (median), {:.0} ms (longest)", 1e3 * median, 1e3 * longest);
    if let (Some(empty), Some(editor)) = (empty_window, editor) {
        assert!(editor - empty <= MAX_LEAK_BYTES, "{editor} bytes, {empty} for an empty window");
    }
    assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}
