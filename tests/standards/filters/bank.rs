//! The filter bank that measures band energies.

use crate::rate;
use approx::assert_relative_eq;
use voicechain_core::filters::design::{BUTTERWORTH_Q, high_pass, low_pass};
use voicechain_core::filters::{Cascade, CascadeState, EnergyBank, EnergyBankState};
use voicechain_tests::spectra::Noise;

/// Each band's energy is the sum of squares after the same two sections run as a cascade, for any block size. A bank
/// without input has zero energy.
#[test]
fn bank_energies_equal_those_of_the_filtered_signals() {
    let rate = rate(48_000.0);
    let band = |low: f64, high: f64| [high_pass(low, BUTTERWORTH_Q, rate), low_pass(high, BUTTERWORTH_Q, rate)];
    let bands = [band(4_000.0, 10_000.0), band(100.0, 1_500.0)];
    let mut random = Noise::new(11);
    let frames: Vec<[f32; 2]> = (0..5_000).map(|_| [random.sample() as f32, 0.3 * random.sample() as f32]).collect();
    let bank = EnergyBank::new(bands);
    let mut state = EnergyBankState::<2, 2>::new();
    for piece in frames.chunks(37) {
        bank.run(&mut state, piece);
    }
    let found = state.take_energies();
    for (band, found) in bands.iter().zip(found) {
        let mut filtered = frames.clone();
        Cascade::new(*band).run(&mut CascadeState::new(), &mut filtered);
        let expected: f64 = filtered.iter().flatten().map(|&x| f64::from(x) * f64::from(x)).sum();
        assert_relative_eq!(found, expected, max_relative = 1e-6);
    }
    let mut whole = EnergyBankState::<2, 2>::new();
    bank.run(&mut whole, &frames);
    assert_eq!(whole.take_energies(), found);
    assert_eq!(EnergyBankState::<1, 2>::new().take_energies(), [0.0; 2]);
}
