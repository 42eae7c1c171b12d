//! Voice meter: a profile meter fed by the [sample ring](crate::sample_ring), on the ring's own thread.

use crate::sample_ring::SampleSink;
use voicechain_core::SampleRate;
use voicechain_core::frame::Frame;
use voicechain_core::measure::{Profile, ProfileMeter};

/// Length of the crossfade across a gap, ms. Without it, missing frames would make clicks that the voice does not
/// contain.
const CROSSFADE_MS: f64 = 5.0;

/// Result of a voice measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredVoice {
    /// Measured profile.
    pub profile: Profile,
    /// Frames that were dropped because the meter fell behind.
    pub lost_frames: u64,
    /// Captured frames relative to all frames, 0 to 1: validity of the profile.
    pub captured_fraction: f64,
}

/// Profile meter for `C` channels with a delay of one crossfade, so that the signal can be crossfaded across gaps.
#[derive(Debug)]
struct GapCrossfader<const C: usize> {
    meter: Box<ProfileMeter<C>>,
    /// Latest frames, not yet measured; at most one crossfade long.
    end: Vec<[f32; C]>,
    /// Number of frames of `end` that fade into `after`; 0 outside a gap.
    crossfade_frames: usize,
    /// Frames after a gap, collected until the crossfade is complete.
    after: Vec<[f32; C]>,
    crossfade_length: usize,
}

impl<const C: usize> GapCrossfader<C>
where
    [f32; C]: Frame,
{
    fn new(rate: SampleRate) -> Self {
        let mut meter = Box::new(ProfileMeter::NEW);
        meter.restart(rate);
        let crossfade_length = rate.samples(CROSSFADE_MS) as usize;
        let (end, after) = (Vec::with_capacity(crossfade_length), Vec::with_capacity(crossfade_length));
        Self { meter, end, crossfade_frames: 0, after, crossfade_length }
    }

    fn push(&mut self, interleaved: &[f32]) {
        let (mut frames, _) = interleaved.as_chunks::<C>();
        if self.crossfade_frames > 0 {
            let wanted = (self.crossfade_frames - self.after.len()).min(frames.len());
            self.after.extend_from_slice(&frames[..wanted]);
            frames = &frames[wanted..];
            if self.after.len() < self.crossfade_frames {
                return;
            }
            self.crossfade();
        }
        // The last frames wait in `end`; all others go to the meter.
        let ready = (self.end.len() + frames.len()).saturating_sub(self.crossfade_length);
        let old = ready.min(self.end.len());
        self.meter.push(&self.end[..old]);
        self.end.drain(..old);
        self.meter.push(&frames[..ready - old]);
        self.end.extend_from_slice(&frames[ready - old..]);
    }

    /// Marks a gap between the previous frames and the next.
    fn gap(&mut self) {
        // If another gap follows within the crossfade, only the frames present are crossfaded.
        self.crossfade();
        self.crossfade_frames = self.end.len();
    }

    /// Crossfades the available frames before and after the gap.
    fn crossfade(&mut self) {
        let length = self.after.len().min(self.end.len());
        let from = self.end.len() - length;
        let fading = &mut self.end[from..];
        for (k, (before, after)) in fading.iter_mut().zip(&self.after).enumerate() {
            let weight = (k as f32 + 0.5) / length as f32;
            for (before, after) in before.iter_mut().zip(after) {
                *before += weight * (after - *before);
            }
        }
        self.after.clear();
        self.crossfade_frames = 0;
    }

    fn finish(&mut self) {
        self.crossfade();
        self.meter.push(&self.end);
        self.end.clear();
    }
}

#[derive(Debug, Default)]
enum ChannelMeter {
    #[default]
    None,
    Mono(GapCrossfader<1>),
    Stereo(GapCrossfader<2>),
}

/// Measures the voice on the plugin's input. A new activation with the same rate and channels continues the
/// measurement, so a host that restarts the plugin (for a new latency or block size) does not interrupt it. Any other
/// activation starts a new measurement.
#[derive(Debug, Default)]
pub struct VoiceMeter {
    meter: ChannelMeter,
    /// Sample rate in Hz and number of channels.
    format: Option<(f64, usize)>,
    captured_frames: u64,
    lost_frames: u64,
}

impl VoiceMeter {
    /// Current result; `None` before the first signal. The last 5 ms are included once the measurement has ended. Takes
    /// a few hundred microseconds.
    #[must_use]
    pub fn measured(&self) -> Option<MeasuredVoice> {
        let profile = match &self.meter {
            ChannelMeter::Mono(meter) => meter.meter.profile(),
            ChannelMeter::Stereo(meter) => meter.meter.profile(),
            ChannelMeter::None => return None,
        };
        let frames = self.frames();
        let captured_fraction = if frames == 0 { 0.0 } else { self.captured_frames as f64 / frames as f64 };
        Some(MeasuredVoice { profile, lost_frames: self.lost_frames, captured_fraction })
    }

    /// Frames so far, captured or lost.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.captured_frames + self.lost_frames
    }

    /// Discards the measurement.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    fn gap(&mut self) {
        match &mut self.meter {
            ChannelMeter::Mono(meter) => meter.gap(),
            ChannelMeter::Stereo(meter) => meter.gap(),
            ChannelMeter::None => {}
        }
    }
}

impl SampleSink for VoiceMeter {
    fn begin(&mut self, rate_hz: f64, channels: usize) {
        if self.format == Some((rate_hz, channels)) {
            self.gap();
            return;
        }
        self.clear();
        // The plugin activates only at supported rates, so this does not fail.
        let Ok(rate) = SampleRate::new(rate_hz) else { return };
        self.format = Some((rate_hz, channels));
        self.meter = match channels {
            1 => ChannelMeter::Mono(GapCrossfader::new(rate)),
            2 => ChannelMeter::Stereo(GapCrossfader::new(rate)),
            _ => ChannelMeter::None,
        };
    }

    fn push(&mut self, interleaved: &[f32]) {
        let channels = match &mut self.meter {
            ChannelMeter::Mono(meter) => {
                meter.push(interleaved);
                1
            }
            ChannelMeter::Stereo(meter) => {
                meter.push(interleaved);
                2
            }
            ChannelMeter::None => return,
        };
        self.captured_frames += (interleaved.len() / channels) as u64;
    }

    fn lost(&mut self, frames: u64) {
        self.lost_frames = frames;
        self.gap();
    }

    fn end(&mut self) {
        match &mut self.meter {
            ChannelMeter::Mono(meter) => meter.finish(),
            ChannelMeter::Stereo(meter) => meter.finish(),
            ChannelMeter::None => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use voicechain_core::measure::profile::SignalClass;

    /// Harmonic buzz in syllables with pauses; pitch and pace vary by 12 %. Sufficient for levels, level consistency
    /// and pitch.
    fn buzz(rate_hz: f64, seconds: f64) -> Vec<f32> {
        let count = (seconds * rate_hz) as usize;
        (0..count)
            .map(|n| {
                let time = n as f64 / rate_hz;
                let slow = std::f64::consts::TAU * 0.4;
                let time = time + 0.12 * (slow * time).sin() / slow;
                let syllable = (std::f64::consts::PI * 4.0 * time).sin().powi(2);
                let speaking = if time % 3.0 < 2.2 { syllable } else { 0.0 };
                let buzz: f64 =
                    (1..20).map(|k| (std::f64::consts::TAU * 120.0 * k as f64 * time).sin() / k as f64).sum();
                (0.1 * speaking * buzz) as f32
            })
            .collect()
    }

    fn measured(rate_hz: f64, channels: usize, interleaved: &[f32], block_sizes: &[usize]) -> MeasuredVoice {
        let mut voice_meter = VoiceMeter::default();
        assert_eq!(voice_meter.measured(), None);
        voice_meter.begin(rate_hz, channels);
        let (mut at, mut sizes) = (0, block_sizes.iter().cycle());
        while at < interleaved.len() {
            let end = (at + channels * sizes.next().unwrap()).min(interleaved.len());
            voice_meter.push(&interleaved[at..end]);
            at = end;
        }
        voice_meter.end();
        voice_meter.measured().unwrap()
    }

    #[test]
    fn the_profile_equals_that_of_the_meter_bit_for_bit() {
        for (rate_hz, seconds) in [(8_000.0, 4.0), (48_000.0, 3.0), (192_000.0, 0.5)] {
            let rate = SampleRate::new(rate_hz).unwrap();
            let voice = buzz(rate_hz, seconds);
            let mut meter = Box::new(ProfileMeter::<1>::new(rate));
            meter.push(voice.as_chunks().0);
            let result = measured(rate_hz, 1, &voice, &[1, 2, 4_096, 100, 7]);
            // Debug output compares NaN as equal and shows every bit of a number.
            assert_eq!(format!("{:?}", result.profile), format!("{:?}", meter.profile()));
            assert_eq!((result.lost_frames, result.captured_fraction), (0, 1.0));
            let stereo: Vec<f32> = voice.iter().flat_map(|&x| [x, 0.5 * x]).collect();
            let mut meter = Box::new(ProfileMeter::<2>::new(rate));
            meter.push(stereo.as_chunks().0);
            let result = measured(rate_hz, 2, &stereo, &[33, 2_000]);
            assert_eq!(format!("{:?}", result.profile), format!("{:?}", meter.profile()));
        }
    }

    #[test]
    fn dropouts_lower_the_captured_fraction_and_make_no_clicks() {
        let rate_hz = 48_000.0;
        let voice = buzz(rate_hz, 20.0);
        let whole = measured(rate_hz, 1, &voice, &[480]).profile;
        let mut voice_meter = VoiceMeter::default();
        voice_meter.begin(rate_hz, 1);
        let mut lost = 0;
        for (k, piece) in voice.chunks(480).enumerate() {
            // One block in ten is lost, at a different point of the syllable each time.
            if k % 10 == 7 {
                lost += piece.len() as u64;
                voice_meter.lost(lost);
            } else {
                voice_meter.push(piece);
            }
        }
        voice_meter.end();
        let result = voice_meter.measured().unwrap();
        assert_eq!(result.lost_frames, lost);
        assert!((result.captured_fraction - 0.9).abs() < 0.001, "{}", result.captured_fraction);
        let level = |profile: &Profile| profile.level.active_level_dbov.unwrap();
        assert!((level(&result.profile) - level(&whole)).abs() < 0.3);
        let pitch = |profile: &Profile| profile.pitch.unwrap().median_hz;
        assert!((pitch(&result.profile) / pitch(&whole) - 1.0).abs() < 0.01);
        assert_eq!(result.profile.transients.unwrap().count, whole.transients.unwrap().count);
        assert!((result.profile.duration_s - 18.0).abs() < 1.5);
        // The crossfades do not exceed the peak of the voice.
        assert!(result.profile.level.sample_peak_dbfs <= whole.level.sample_peak_dbfs + 1e-9);
    }

    #[test]
    fn a_restart_by_the_host_does_not_interrupt_the_measurement() {
        let voice = buzz(48_000.0, 6.0);
        let (first, second) = voice.split_at(3 * 48_000);
        let mut voice_meter = VoiceMeter::default();
        voice_meter.begin(48_000.0, 1);
        voice_meter.push(first);
        voice_meter.begin(48_000.0, 1);
        voice_meter.push(second);
        let result = voice_meter.measured().unwrap();
        assert!((result.profile.duration_s - 6.0).abs() < 0.02);
        assert_eq!(result.captured_fraction, 1.0);
        // Another sample rate starts a new measurement.
        voice_meter.begin(44_100.0, 1);
        voice_meter.push(second);
        assert!(voice_meter.measured().unwrap().profile.duration_s < 3.5);
        voice_meter.begin(44_100.0, 2);
        assert_eq!(voice_meter.measured().unwrap().profile.signal_class, SignalClass::Silence);
        assert_eq!(voice_meter.measured().unwrap().captured_fraction, 0.0);
        voice_meter.clear();
        assert_eq!(voice_meter.measured(), None);
    }

    #[test]
    fn gaps_close_to_each_other_lose_no_further_frames() {
        let mut voice_meter = VoiceMeter::default();
        voice_meter.begin(48_000.0, 2);
        for k in 1..200 {
            voice_meter.push(&vec![0.1; 2 * (k % 50)]);
            voice_meter.lost(k as u64);
            voice_meter.lost(k as u64);
        }
        voice_meter.end();
        let result = voice_meter.measured().unwrap();
        assert_eq!(result.lost_frames, 199);
        // A constant stays constant across all crossfades.
        assert!((result.profile.level.sample_peak_dbfs + 20.0).abs() < 1e-4);
    }
}
