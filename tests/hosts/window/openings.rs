//! Two hundred openings of the editor's window, in a process of their own so that its memory is theirs; beside them as many
//! of a window that shows nothing, made by the same window layer.

use egui_baseview::{App, EguiWindow, EguiWindowSettings, Frame};
use nice_plug::editor::ParentWindowHandle;
use std::num::NonZeroU32;
use voicechain_editor::DEFAULT_SIZE;
use voicechain_host_tests::screen::{Screen, wait_until};
use voicechain_host_tests::{HostedPlugin, resources};

/// Openings of either kind that are measured. Those before them fill what the graphics driver and the process keep for good:
/// the driver's store of a window that shows nothing grows for some 250 openings.
const OPENINGS: usize = 200;
const WARM_UP: [usize; 2] = [300, 100];
/// What an opening of the editor may leave behind beyond what one of a window that shows nothing does, bytes.
const MOST_BYTES: f64 = 1_024.0;

/// A window that shows nothing but its ground.
struct EmptyWindow;

impl App for EmptyWindow {
    fn ui(&mut self, ui: &mut egui::Ui, _frame: &mut Frame) {
        let paper = voicechain_editor::Palette::of(false).paper;
        ui.painter().rect_filled(ui.ctx().content_rect(), 0.0, paper);
    }
}

/// Opens and closes, `once` inside a host's window until it is drawn; gives what each of the last ones left behind, bytes.
fn left_behind(screen: &Screen, what: &str, settling: usize, mut once: impl FnMut(u32)) -> Option<f64> {
    let threads = resources::threads();
    let mut settled = None;
    for round in 0..settling + OPENINGS {
        let window = screen.window(DEFAULT_SIZE[0] as u32, DEFAULT_SIZE[1] as u32);
        once(window);
        screen.close(window);
        // The window's threads end by themselves; what they hold is theirs until then.
        wait_until("the end of the window's threads", || resources::threads() <= threads);
        if round + 1 == settling {
            settled = resources::heap_bytes();
        }
    }
    let left = (resources::heap_bytes()? as f64 - settled? as f64) / OPENINGS as f64;
    println!("{what}: {left:.0} bytes stay behind each opening");
    Some(left)
}

#[test]
#[ignore = "long: tests/run runs it in release"]
fn two_hundred_openings_leave_no_more_behind_than_bare_windows() {
    let screen = Screen::of_this_process();
    let empty = screen.capture(8, 8);
    let bare = left_behind(screen, "a window that shows nothing", WARM_UP[0], |window| {
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
    let ours = left_behind(screen, "the editor", WARM_UP[1], |window| {
        let empty = screen.capture(8, 8);
        let begun = std::time::Instant::now();
        plugin.open_window(window).expect("the editor opens");
        wait_until("a picture", || {
            plugin.main_thread();
            screen.capture(8, 8) != empty
        });
        times.push(begun.elapsed().as_secs_f64());
        plugin.run(&mut [vec![0.1; 480]], &[], || 480);
        plugin.close_editor();
    });
    times.sort_by(f64::total_cmp);
    let (median, longest) = (times[times.len() / 2], times[times.len() - 1]);
    println!("the editor is drawn after {:.0} ms (median), {:.0} ms (longest)", 1e3 * median, 1e3 * longest);
    if let (Some(bare), Some(ours)) = (bare, ours) {
        assert!(ours - bare <= MOST_BYTES, "{ours} bytes, {bare} of a bare window");
    }
    assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}
