//! Long-term spectrum of active speech, as measured by the profile.

use super::active_level::ActiveLevelMeter;
use super::dc_blocker::DcBlocker;
use super::downsampler::{Downsampler, sanitise};
use super::levels::active_speech;
use super::profile::{Measured, THIRD_OCTAVES};
use super::spectra::{Framing, Spectra};
use super::tonal_balance::TonalBalanceMeter;
use crate::frame::CHUNK;
use crate::math::power_to_db;
use crate::units::SampleRate;

/// Third-octave levels of active speech, for display.
///
/// Uses the frames, bands and margin of the tonal balance of a [`Profile`](super::Profile), on (L+R)/2 at 48 kHz or
/// less, whatever the background noise. Non-finite samples count as silence. Results do not depend on the block size.
/// Nothing allocates. Memory 63 kB. Tested by `the_spectrum_matches_the_profile`.
#[derive(Clone, Debug)]
pub struct SpeechSpectrum<const C: usize> {
    base: Downsampler,
    dc_blocker: DcBlocker,
    active: ActiveLevelMeter,
    spectra: Spectra<2_048>,
    balance: TonalBalanceMeter,
}

impl<const C: usize> SpeechSpectrum<C> {
    /// A meter in its initial state.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let base = Downsampler::new(rate);
        let base_hz = base.rate().hz();
        let framing = Framing::long(base_hz);
        Self {
            base,
            dc_blocker: DcBlocker::new(base_hz),
            active: ActiveLevelMeter::new(base_hz),
            spectra: Spectra::new(framing),
            balance: TonalBalanceMeter::new(&framing),
        }
    }

    /// Processes frames.
    pub fn push(&mut self, frames: &[[f32; C]]) {
        for piece in frames.chunks(CHUNK) {
            let (mut clean, mut mono, mut level) = ([[0.0; C]; CHUNK], [0.0; CHUNK], [0.0; CHUNK]);
            let (clean, _) = sanitise(piece, &mut clean);
            let count = self.base.run(clean, &mut mono);
            self.dc_blocker.run(&mono[..count], &mut level);
            self.active.push(&level[..count]);
            let Self { spectra, balance, .. } = self;
            spectra.push(&mono[..count], |spectrum| balance.frame(spectrum, spectrum.level_db()));
        }
    }

    /// Level of each third octave, dBFS (bands of [`crate::speech::BYRNE_1994_COMBINED`]); `None` for bands beyond half
    /// the sample rate.
    ///
    /// # Errors
    ///
    /// [`Unavailable::Silence`](super::profile::Unavailable::Silence) without speech, and
    /// [`Unavailable::TooShort`](super::profile::Unavailable::TooShort) for less than two seconds of speech.
    pub fn bands_dbfs(&self) -> Measured<[Option<f64>; THIRD_OCTAVES]> {
        let powers = self.balance.thirds(active_speech(&self.active)?.level_dbov)?;
        let half_hz = 0.5 * self.base.rate().hz();
        Ok(core::array::from_fn(|band| {
            (self.balance.upper_hz(band) <= half_hz).then(|| power_to_db(powers[band].max(1e-20)))
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::super::ProfileMeter;
    use super::super::profile::Unavailable;
    use super::*;
    extern crate std;
    use std::boxed::Box;
    use std::vec::Vec;

    /// A buzz of 110 Hz with syllables and pauses, over faint noise.
    fn voice(rate: f64) -> Vec<[f32; 2]> {
        let mut state = 1_u32;
        (0..(8.0 * rate) as usize)
            .map(|n| {
                let t = n as f64 / rate;
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = 1e-4 * (f64::from(state >> 8) / 8_388_608.0 - 1.0);
                let pitch = 110.0 + 10.0 * libm::sin(3.0 * t);
                let swell =
                    (0.5 - 0.5 * libm::cos(core::f64::consts::TAU * 4.0 * t)) * f64::from(u8::from(t % 2.0 < 1.5));
                let buzz: f64 =
                    (1..60).map(|k| libm::sin(core::f64::consts::TAU * pitch * f64::from(k) * t) / f64::from(k)).sum();
                let sample = (0.1 * swell * buzz + noise) as f32;
                [sample, 0.5 * sample]
            })
            .collect()
    }

    #[test]
    fn the_spectrum_matches_the_profile() {
        for rate_hz in [16_000.0, 48_000.0, 96_000.0] {
            let rate = SampleRate::new(rate_hz).unwrap();
            let (mut meter, mut spectrum) = (Box::new(ProfileMeter::new(rate)), Box::new(SpeechSpectrum::new(rate)));
            let frames = voice(rate_hz);
            meter.push(&frames);
            frames.chunks(777).for_each(|piece| spectrum.push(piece));
            let (profile, displayed) = (meter.profile(), spectrum.bands_dbfs().unwrap());
            let tonal_balance = profile.tonal_balance.unwrap();
            assert!(tonal_balance.bands_dbfs.iter().flatten().count() > 10, "{profile:?}");
            for (known, displayed) in tonal_balance.bands_dbfs.iter().zip(displayed) {
                assert!(known.is_none_or(|known| displayed == Some(known)), "{known:?} {displayed:?}");
            }
        }
    }

    #[test]
    fn silence_and_a_single_word_have_no_spectrum() {
        let mut spectrum = SpeechSpectrum::<1>::new(SampleRate::new(48_000.0).unwrap());
        spectrum.push(&[[0.0]; 480]);
        assert_eq!(spectrum.bands_dbfs(), Err(Unavailable::Silence));
        let word: Vec<[f32; 1]> = voice(48_000.0)[..48_000].iter().map(|&[left, _]| [left]).collect();
        spectrum.push(&word);
        assert_eq!(spectrum.bands_dbfs(), Err(Unavailable::TooShort));
    }
}
