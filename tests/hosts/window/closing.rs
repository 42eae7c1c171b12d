//! What is left of the editor's window straight after it was closed: no thread. A process of its own, so that all its threads
//! are known.
//!
//! A host may exit, or let go of the plugin, as soon as the call that closes the editor has returned; whatever thread still
//! runs then loses the ground under it. Nothing is waited for here.

use std::collections::BTreeMap;
use voicechain_editor::DEFAULT_SIZE;
use voicechain_host_tests::screen::{Screen, wait_until};
use voicechain_host_tests::{HostedPlugin, resources};

/// Openings of each kind. Without the plugin's own waiting most of them leave threads behind.
const OPENINGS: usize = 10;

/// Threads that were not there before, by their names.
fn new_since(before: &Option<BTreeMap<u32, String>>) -> Vec<String> {
    let (Some(before), Some(now)) = (before, resources::threads_by_name()) else { return Vec::new() };
    now.into_iter().filter(|(number, _)| !before.contains_key(number)).map(|(_, name)| name).collect()
}

fn plugin() -> HostedPlugin {
    let mut plugin = HostedPlugin::new(1);
    assert!(plugin.activate(48_000.0, 480));
    plugin
}

fn close(plugin: &mut HostedPlugin, screen: &Screen, window: u32, before: &Option<BTreeMap<u32, String>>, what: &str) {
    plugin.close_editor();
    assert_eq!(new_since(before), Vec::<String>::new(), "{what}");
    screen.close(window);
}

#[test]
fn a_closed_window_has_no_thread_left() {
    let screen = Screen::of_this_process();
    let window = || screen.window(DEFAULT_SIZE[0] as u32, DEFAULT_SIZE[1] as u32);
    let mut one = plugin();
    let before = resources::threads_by_name();
    for round in 0..OPENINGS {
        let parent = window();
        let empty = screen.capture(8, 8);
        one.open_window(parent).expect("the editor opens");
        wait_until("a picture", || {
            one.main_thread();
            screen.capture(8, 8) != empty
        });
        assert!(before.is_none() || !new_since(&before).is_empty(), "an open window is drawn by a thread of its own");
        close(&mut one, screen, parent, &before, &format!("opening {round}, drawn"));
    }
    for round in 0..OPENINGS {
        let parent = window();
        one.open_window(parent).expect("the editor opens");
        close(&mut one, screen, parent, &before, &format!("opening {round}, closed at once"));
    }
    let parent = window();
    one.embed(parent).expect("the editor is made");
    assert_eq!(new_since(&before), Vec::<String>::new(), "a window that nobody has shown");
    close(&mut one, screen, parent, &before, "never shown");
    // Several at once, as when a project is closed.
    let mut several: Vec<_> = (0..4).map(|_| plugin()).collect();
    let before = resources::threads_by_name();
    for round in 0..OPENINGS / 2 {
        let parents: Vec<_> = several
            .iter_mut()
            .map(|plugin| {
                let parent = window();
                plugin.open_window(parent).expect("the editor opens");
                parent
            })
            .collect();
        several.iter_mut().for_each(HostedPlugin::close_editor);
        assert_eq!(new_since(&before), Vec::<String>::new(), "several at once, round {round}");
        parents.into_iter().for_each(|parent| screen.close(parent));
    }
    assert_eq!(*one.requests.complaints.lock().unwrap(), Vec::<String>::new());
}
