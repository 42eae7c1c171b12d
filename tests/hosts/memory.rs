//! Ten thousand lives of one instance, in a process of their own so that its memory is theirs.

use voicechain_host_tests::{HostedPlugin, resources};

/// Without the allocator's caches, whose blocks count as used: what nobody freed is then counted to the byte.
const TUNABLES: (&str, &str) = ("GLIBC_TUNABLES", "glibc.malloc.tcache_count=0");

#[test]
fn ten_thousand_activations_leave_nothing_behind() {
    if std::env::var(TUNABLES.0).is_ok_and(|set| set == TUNABLES.1) {
        return live_ten_thousand_times();
    }
    // The allocator reads it once, when a process starts.
    let me = std::env::current_exe().expect("the test knows its own path");
    let ran = std::process::Command::new(me).arg("--nocapture").env(TUNABLES.0, TUNABLES.1).output();
    let ran = ran.expect("the test starts itself");
    // Not its own summary: tests/run would count it as another suite.
    let said = [ran.stdout, ran.stderr].map(|bytes| String::from_utf8_lossy(&bytes).replace("test result", "result"));
    assert!(ran.status.success(), "{}", said.concat());
}

fn live_ten_thousand_times() {
    let mut plugin = HostedPlugin::new(2);
    let mut after_a_thousand = None;
    for round in 0..10_000 {
        let rate = [44_100.0, 48_000.0, 96_000.0, 192_000.0, 8_000.0][round % 5];
        assert!(plugin.activate(rate, 32 << (round % 6)));
        if round % 100 == 0 {
            let mut signal = vec![vec![0.25; 64]; 2];
            plugin.run(&mut signal, &[], || 64);
            // Instances come and go beside it.
            let mut other = HostedPlugin::new(1);
            assert!(other.activate(48_000.0, 64));
        }
        plugin.deactivate();
        // The same rate and block as the last one: what an instance keeps ready depends on them.
        if round == 999 {
            after_a_thousand = resources::heap_bytes();
        }
    }
    if let (Some(before), Some(after)) = (after_a_thousand, resources::heap_bytes()) {
        println!("{before} bytes became {after}");
        assert!(after <= before, "{before} bytes became {after}");
    }
    assert_eq!(*plugin.requests.complaints.lock().unwrap(), Vec::<String>::new());
}
