//! Detectors that control gain: level, peak, noise floor, sibilance, voice activity.

mod band_powers;
pub mod crest_factor;
pub mod noise_floor;
pub mod oversampled_peak;
pub mod peak_hold;
pub mod sibilance;
pub mod sub_band_snr;
pub mod voice_activity;

pub use crest_factor::CrestFactor;
pub use noise_floor::NoiseFloor;
pub use oversampled_peak::OversampledPeak;
pub use peak_hold::PeakHold;
pub use sibilance::Sibilance;
pub use sub_band_snr::SubBandSnr;
pub use voice_activity::VoiceActivity;

/// Frames between two updates of slow detectors, counted on the sample clock.
pub const TICK: u32 = 16;

#[cfg(test)]
mod tests {
    use super::sibilance::SibilanceBands;
    use super::sub_band_snr::SubBandSnrFilters;
    use super::*;
    use crate::units::SampleRate;
    extern crate std;
    use std::vec::Vec;

    /// Three seconds of noise in loud and quiet passages, independent in the channels.
    fn noise() -> Vec<[f32; 2]> {
        let mut seed = 1u32;
        let mut next = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (f64::from(seed >> 8) / 8_388_608.0 - 1.0) as f32
        };
        (0..144_000)
            .map(|n| if n % 40_000 < 15_000 { [0.3 * next(), 0.1 * next()] } else { [1e-3 * next(); 2] })
            .collect()
    }

    /// The detectors update at the same frames for any block size.
    #[test]
    fn detectors_do_not_depend_on_block_size() {
        let rate = SampleRate::new(48_000.0).unwrap();
        let (bands, sibilant) = (SubBandSnrFilters::new(rate), SibilanceBands::new(rate).unwrap());
        let signal = noise();
        let read = |lengths: &[usize]| {
            let mut above = SubBandSnr::<2>::new(rate);
            let mut sibilance = Sibilance::<2>::new(rate);
            let mut crest = CrestFactor::new(rate);
            let (mut rest, mut ticks) = (&signal[..], 0);
            for &length in lengths.iter().cycle() {
                if rest.is_empty() {
                    break;
                }
                let (now, later) = rest.split_at(length.min(rest.len()));
                let amplitudes: Vec<f32> = now.iter().map(|frame| frame[0].abs()).collect();
                ticks += usize::from(above.run(&bands, now));
                sibilance.run(&sibilant, now);
                crest.push(&amplitudes);
                rest = later;
            }
            (above.snr_db().to_bits(), sibilance.ratio_db().to_bits(), crest.squared().to_bits(), ticks)
        };
        let (above, ratio, squared, ticks) = read(&[TICK as usize]);
        assert_eq!(ticks, signal.len() / TICK as usize, "every tick is reported");
        for lengths in [&[signal.len()][..], &[1], &[7, 1, 300, 16, 15, 17], &[4_801]] {
            let (a, r, s, _) = read(lengths);
            assert_eq!((a, r, s), (above, ratio, squared), "{lengths:?}");
        }
    }
}
