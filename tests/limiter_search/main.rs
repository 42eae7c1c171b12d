//! Searches for sequences that drive the true peak of the limiter's output over its ceiling, prints the worst, and fails
//! if it exceeds the bound of the limiter's documentation.
//!
//!     cargo run --profile optimised -p voicechain-tests --bin limiter_search -- [--steps N] [--seed S] [--rate HZ]
//!
//! By default 50 000 steps with each of the seeds 1, 2 and 3 at 8, 16, 22.05, 44.1 and 48 kHz; `--seed` and `--rate`
//! select one. A setting has its own thread. The method is that of `voicechain_tests::limiter_search`.

use std::error::Error;
use std::io::Write;
use voicechain_core::SampleRate;
use voicechain_core::settings::LimiterSettings;
use voicechain_tests::limiter_search::{BOUND_DB, MAX_OVER_CEILING, METERS, SETUPS, Setup, excess_db};

fn main() -> Result<(), Box<dyn Error>> {
    let (mut steps, mut seeds) = (50_000, vec![1, 2, 3]);
    let mut rates = vec![8_000.0, 16_000.0, 22_050.0, 44_100.0, 48_000.0];
    let mut arguments = std::env::args().skip(1);
    while let Some(argument) = arguments.next() {
        let value = arguments.next().ok_or_else(|| format!("{argument} needs a value"))?;
        match argument.as_str() {
            "--steps" => steps = value.parse()?,
            "--seed" => seeds = vec![value.parse()?],
            "--rate" => rates = vec![value.parse()?],
            _ => return Err(format!("unknown argument {argument}: use --steps, --seed or --rate").into()),
        }
    }
    println!(
        "True peak over the ceiling, dB, after {steps} steps; input up to {:.0} dB over the ceiling; meters at 32 times \
         the rate, taps and Kaiser parameter: {METERS:?}",
        20.0 * MAX_OVER_CEILING.log10()
    );
    for setup in &SETUPS {
        let LimiterSettings { ceiling_dbtp, look_ahead_ms, release_ms, .. } = setup.settings();
        println!(
            "  {}: {} channels, ceiling {ceiling_dbtp} dBTP, look-ahead {look_ahead_ms} ms, release {release_ms} ms",
            setup.name, setup.channels
        );
    }
    print!("{:>8} {:>5}", "rate", "seed");
    SETUPS.iter().for_each(|Setup { name, .. }| print!(" {name:>14}"));
    println!();
    let mut most = f64::NEG_INFINITY;
    for &hz in &rates {
        let rate = SampleRate::new(hz)?;
        for &seed in &seeds {
            print!("{hz:8} {seed:5}");
            std::io::stdout().flush()?;
            let searches = SETUPS.map(|setup| std::thread::spawn(move || excess_db(&setup, rate, seed, steps)));
            for search in searches {
                let excess = search.join().map_err(|_| "a sample exceeds the ceiling")??;
                most = most.max(excess);
                print!(" {excess:14.3}");
            }
            println!();
        }
    }
    println!("worst: {most:.3} dB");
    if most > BOUND_DB { Err(format!("the bound is {BOUND_DB} dB").into()) } else { Ok(()) }
}
