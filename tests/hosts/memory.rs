//! Ten thousand lives of one instance, in a process of their own so that its memory is theirs.

use voicechain_host_tests::Deck;

/// Resident memory of this process in pages, where the system says so.
fn pages() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/statm").ok()?;
    text.split_whitespace().nth(1)?.parse().ok()
}

#[test]
fn ten_thousand_activations_leave_nothing_behind() {
    let mut deck = Deck::new(2);
    let mut after_a_thousand = None;
    for round in 0..10_000 {
        let rate = [44_100.0, 48_000.0, 96_000.0, 192_000.0, 8_000.0][round % 5];
        assert!(deck.activate(rate, 32 << (round % 6)));
        if round % 100 == 0 {
            let mut signal = vec![vec![0.25; 64]; 2];
            deck.run(&mut signal, &[], || 64);
            // Instances come and go beside it.
            let mut other = Deck::new(1);
            assert!(other.activate(48_000.0, 64));
        }
        deck.deactivate();
        if round == 1_000 {
            after_a_thousand = pages();
        }
    }
    if let (Some(before), Some(after)) = (after_a_thousand, pages()) {
        // Half a megabyte in pages of 4 KiB: far less than one strip per hundred lives.
        assert!(after <= before + 128, "{before} pages became {after}");
    }
    assert_eq!(*deck.heard.complaints.lock().unwrap(), Vec::<String>::new());
}
