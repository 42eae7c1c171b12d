//! Threads after closing the editor's window: none may remain. In a process of its own, so that all threads are known.
//!
//! A host may exit or unload the plugin as soon as the call that closes the editor has returned. A thread still running
//! then would execute unloaded code. The test therefore does not wait.

use std::collections::BTreeMap;
use voicechain_editor::DEFAULT_SIZE;
use voicechain_host_tests::screen::{Screen, wait_until};
use voicechain_host_tests::{HostedPlugin, resources};

/// Openings of each kind. If the plugin did not wait, most of them would leave threads behind.
const OPENINGS: usize = 10;

/// Names of threads started since `before`.
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
fn a_closed_window_leaves_no_thread() {
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
        assert!(before.is_none() || !new_since(&before).is_empty(), "an open window has a thread of its own");
        close(&mut one, screen, parent, &before, &format!("opening {round}, drawn"));
    }
    for round in 0..OPENINGS {
        let parent = window();
        one.open_window(parent).expect("the editor opens");
        close(&mut one, screen, parent, &before, &format!("opening {round}, closed at once"));
    }
    let parent = window();
    one.embed(parent).expect("the editor is created");
    assert_eq!(new_since(&before), Vec::<String>::new(), "a window that was not shown");
    close(&mut one, screen, parent, &before, "never shown");
    // Several at once, as when a host closes a project.
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
