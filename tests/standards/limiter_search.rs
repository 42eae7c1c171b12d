//! A short form of the search for sequences that exceed the limiter's ceiling between samples. The long form is a
//! program: `cargo run --profile optimised -p voicechain-tests --bin limiter_search`.

use super::rate;
use voicechain_tests::limiter_search::{BOUND_DB, SETUPS, Search, excess_db};

#[test]
#[cfg_attr(debug_assertions, ignore = "slow in a debug build: tests/run runs it in the optimised one")]
fn searched_sequences_exceed_the_ceiling_by_at_most_the_stated_bound() {
    for hz in [8_000.0, 22_050.0, 48_000.0] {
        for (seed, setup) in (1..).zip(&SETUPS) {
            let excess = excess_db(setup, rate(hz), seed, 600).expect("an allowed rate");
            println!("{hz} Hz, {}: {excess:.3} dB", setup.name);
            assert!(excess <= BOUND_DB, "{hz} Hz, {}: {excess:.3} dB over the ceiling", setup.name);
        }
    }
}

/// At the lowest rate, where the gain moves fastest in samples, longer searches find more: against a detector that reads
/// the filters of one wide and one narrow half at half samples only they reach 0.4 and 0.6 dB.
#[test]
#[cfg_attr(debug_assertions, ignore = "slow in a debug build: tests/run runs it in the optimised one")]
fn longer_searches_at_the_lowest_rate_stay_within_the_bound() {
    for name in ["fastest, mono", "long"] {
        let setup = SETUPS.iter().find(|setup| setup.name == name).expect("a setup of this name");
        let excess = excess_db(setup, rate(8_000.0), 1, 8_000).expect("an allowed rate");
        println!("{name}: {excess:.3} dB");
        assert!(excess <= BOUND_DB, "{name}: {excess:.3} dB over the ceiling");
    }
}

/// Negative control: a limiter that sees only samples.
#[test]
fn the_search_exposes_a_limiter_of_sample_peaks() {
    let clip = |input: &[[f32; 1]]| -> Vec<[f32; 1]> { input.iter().map(|[x]| [x.clamp(-0.5, 0.5)]).collect() };
    let worst = Search::<1, _>::new(clip, 20.0 * 0.5_f64.log10(), 1).run(100);
    assert!(worst.sample_excess_db.abs() < 1e-9, "{}", worst.sample_excess_db);
    assert!(worst.excess_db > 6.0, "{}", worst.excess_db);
}
