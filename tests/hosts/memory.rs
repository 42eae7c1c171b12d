//! Memory of one instance over ten thousand activations, in a process of its own so that no other test allocates.

use voicechain_host_tests::{HostedPlugin, resources};

/// Switches off the allocator's thread caches. Cached blocks count as used; without them, exactly the unfreed bytes
/// count.
const TUNABLES: (&str, &str) = ("GLIBC_TUNABLES", "glibc.malloc.tcache_count=0");

#[test]
fn ten_thousand_activations_leak_no_memory() {
    if std::env::var(TUNABLES.0).is_ok_and(|set| set == TUNABLES.1) {
        return activate_ten_thousand_times();
    }
    // The allocator reads the variable only when a process starts.
    let me = std::env::current_exe().expect("the test knows its own path");
    let ran = std::process::Command::new(me).arg("--nocapture").env(TUNABLES.0, TUNABLES.1).output();
    let ran = ran.expect("the test starts itself");
    // The summary line of the child is altered, because tests/run would count it as another suite.
    let output = [ran.stdout, ran.stderr].map(|bytes| String::from_utf8_lossy(&bytes).replace("test result", "result"));
    assert!(ran.status.success(), "{}", output.concat());
}

fn activate_ten_thousand_times() {
    let mut plugin = HostedPlugin::new(2);
    let mut after_a_thousand = None;
    for round in 0..10_000 {
        let rate = [44_100.0, 48_000.0, 96_000.0, 192_000.0, 8_000.0][round % 5];
        assert!(plugin.activate(rate, 32 << (round % 6)));
        if round % 100 == 0 {
            let mut signal = vec![vec![0.25; 64]; 2];
            plugin.run(&mut signal, &[], || 64);
            // Another instance is created and dropped beside it.
            let mut other = HostedPlugin::new(1);
            assert!(other.activate(48_000.0, 64));
        }
        plugin.deactivate();
        // This round has the same rate and block size as the last one; the memory of an instance depends on both.
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
