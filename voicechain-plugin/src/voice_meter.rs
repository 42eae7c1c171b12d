//! The meter of the voice: a profile meter that listens to the [ring of samples](crate::sample_ring), on the ring's own thread.

use crate::sample_ring::SampleSink;
use voicechain_core::SampleRate;
use voicechain_core::frame::Frame;
use voicechain_core::measure::{Profile, ProfileMeter};

/// Where frames are missing, the sound before and after fades into each other this long, so that the meter hears no click
/// that the voice never made.
const CROSSFADE_MS: f64 = 5.0;

/// What was heard of a voice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasuredVoice {
    /// What was measured.
    pub profile: Profile,
    /// Frames that could not be heard, because the meter was held up.
    pub lost_frames: u64,
    /// Share of the voice that was heard, 0 to 1: how far the profile is to be believed.
    pub captured_fraction: f64,
}

/// A meter for so many channels, and the end of what was heard, which waits for what follows.
#[derive(Debug)]
struct GapCrossfader<const C: usize> {
    meter: ProfileMeter<C>,
    /// At most a seam long.
    end: Vec<[f32; C]>,
    /// Frames of `end` that fade into what follows; the others are heard as they are.
    crossfade_frames: usize,
    /// What follows a gap, until there is enough of it.
    after: Vec<[f32; C]>,
    crossfade_length: usize,
}

impl<const C: usize> GapCrossfader<C>
where
    [f32; C]: Frame,
{
    fn new(rate: SampleRate) -> Box<Self> {
        let crossfade_length = rate.samples(CROSSFADE_MS) as usize;
        let (end, after) = (Vec::with_capacity(crossfade_length), Vec::with_capacity(crossfade_length));
        Box::new(Self { meter: ProfileMeter::new(rate), end, crossfade_frames: 0, after, crossfade_length })
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
        // All but the last frames go to the meter.
        let ready = (self.end.len() + frames.len()).saturating_sub(self.crossfade_length);
        let old = ready.min(self.end.len());
        self.meter.push(&self.end[..old]);
        self.end.drain(..old);
        self.meter.push(&frames[..ready - old]);
        self.end.extend_from_slice(&frames[ready - old..]);
    }

    /// A gap: what comes next does not follow what was heard last.
    fn gap(&mut self) {
        // A second gap so close: both pieces are shorter than a seam.
        self.crossfade();
        self.crossfade_frames = self.end.len();
    }

    /// Joins what is there of both sides of a gap: the end of the one fades into the beginning of the other.
    fn crossfade(&mut self) {
        let length = self.after.len().min(self.end.len());
        let from = self.end.len() - length;
        let fading = &mut self.end[from..];
        for (k, (before, after)) in fading.iter_mut().zip(&self.after).enumerate() {
            let share = (k as f32 + 0.5) / length as f32;
            for (before, after) in before.iter_mut().zip(after) {
                *before += share * (after - *before);
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
    Mono(Box<GapCrossfader<1>>),
    Stereo(Box<GapCrossfader<2>>),
}

/// Measures the voice that it hears. A new activation with the same rate and channels goes on with the same voice, so that
/// a host that starts the plugin afresh (for a new latency, a new block size) does not interrupt a measurement; any other
/// begins anew.
#[derive(Debug, Default)]
pub struct VoiceMeter {
    meter: ChannelMeter,
    /// What the tracks are made for.
    format: Option<(f64, usize)>,
    captured_frames: u64,
    lost_frames: u64,
}

impl VoiceMeter {
    /// What is known so far; `None` before anything was heard. The last 5 ms count once listening has ended. Takes some
    /// hundred microseconds.
    #[must_use]
    pub fn measured(&self) -> Option<MeasuredVoice> {
        let profile = match &self.meter {
            ChannelMeter::Mono(meter) => meter.meter.profile(),
            ChannelMeter::Stereo(meter) => meter.meter.profile(),
            ChannelMeter::None => return None,
        };
        let all = self.frames();
        let captured_fraction = if all == 0 { 0.0 } else { self.captured_frames as f64 / all as f64 };
        Some(MeasuredVoice { profile, lost_frames: self.lost_frames, captured_fraction })
    }

    /// Frames of the voice so far, heard or lost.
    #[must_use]
    pub fn frames(&self) -> u64 {
        self.captured_frames + self.lost_frames
    }

    /// Forgets everything.
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
        // The plugin is active at no other rate.
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

    /// Syllables of a buzz whose pitch and pace move by 12 %, with pauses: enough of a voice for levels, phrases and pitch.
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

    fn measured(rate_hz: f64, channels: usize, interleaved: &[f32], pieces: &[usize]) -> MeasuredVoice {
        let mut voice_meter = VoiceMeter::default();
        assert_eq!(voice_meter.measured(), None);
        voice_meter.begin(rate_hz, channels);
        let (mut at, mut sizes) = (0, pieces.iter().cycle());
        while at < interleaved.len() {
            let end = (at + channels * sizes.next().unwrap()).min(interleaved.len());
            voice_meter.push(&interleaved[at..end]);
            at = end;
        }
        voice_meter.end();
        voice_meter.measured().unwrap()
    }

    #[test]
    fn the_profile_is_that_of_the_meter_to_the_last_bit() {
        for (rate_hz, seconds) in [(8_000.0, 4.0), (48_000.0, 3.0), (192_000.0, 0.5)] {
            let rate = SampleRate::new(rate_hz).unwrap();
            let voice = buzz(rate_hz, seconds);
            let mut meter = Box::new(ProfileMeter::<1>::new(rate));
            meter.push(voice.as_chunks().0);
            let heard = measured(rate_hz, 1, &voice, &[1, 2, 4_096, 100, 7]);
            // Debug tells NaN from NaN, and every bit of a number.
            assert_eq!(format!("{:?}", heard.profile), format!("{:?}", meter.profile()));
            assert_eq!((heard.lost_frames, heard.captured_fraction), (0, 1.0));
            let stereo: Vec<f32> = voice.iter().flat_map(|&x| [x, 0.5 * x]).collect();
            let mut meter = Box::new(ProfileMeter::<2>::new(rate));
            meter.push(stereo.as_chunks().0);
            let heard = measured(rate_hz, 2, &stereo, &[33, 2_000]);
            assert_eq!(format!("{:?}", heard.profile), format!("{:?}", meter.profile()));
        }
    }

    #[test]
    fn losses_lower_the_validity_and_make_no_clicks() {
        let rate_hz = 48_000.0;
        let voice = buzz(rate_hz, 20.0);
        let whole = measured(rate_hz, 1, &voice, &[480]).profile;
        let mut voice_meter = VoiceMeter::default();
        voice_meter.begin(rate_hz, 1);
        let mut lost = 0;
        for (k, piece) in voice.chunks(480).enumerate() {
            // One block in ten is lost, at another place of the syllable each time.
            if k % 10 == 7 {
                lost += piece.len() as u64;
                voice_meter.lost(lost);
            } else {
                voice_meter.push(piece);
            }
        }
        voice_meter.end();
        let heard = voice_meter.measured().unwrap();
        assert_eq!(heard.lost_frames, lost);
        assert!((heard.captured_fraction - 0.9).abs() < 0.001, "{}", heard.captured_fraction);
        let level = |profile: &Profile| profile.level.active_level_dbov.unwrap();
        assert!((level(&heard.profile) - level(&whole)).abs() < 0.3);
        let pitch = |profile: &Profile| profile.pitch.unwrap().median_hz;
        assert!((pitch(&heard.profile) / pitch(&whole) - 1.0).abs() < 0.01);
        assert_eq!(heard.profile.transients.unwrap().count, whole.transients.unwrap().count);
        assert!((heard.profile.duration_s - 18.0).abs() < 1.5);
        // The seams make nothing louder than the voice is.
        assert!(heard.profile.level.sample_peak_dbfs <= whole.level.sample_peak_dbfs + 1e-9);
    }

    #[test]
    fn a_host_that_starts_the_plugin_afresh_does_not_interrupt() {
        let voice = buzz(48_000.0, 6.0);
        let (first, second) = voice.split_at(3 * 48_000);
        let mut voice_meter = VoiceMeter::default();
        voice_meter.begin(48_000.0, 1);
        voice_meter.push(first);
        voice_meter.begin(48_000.0, 1);
        voice_meter.push(second);
        let heard = voice_meter.measured().unwrap();
        assert!((heard.profile.duration_s - 6.0).abs() < 0.02);
        assert_eq!(heard.captured_fraction, 1.0);
        // Another rate is another recording.
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
    fn gaps_close_to_each_other_lose_nothing_more() {
        let mut voice_meter = VoiceMeter::default();
        voice_meter.begin(48_000.0, 2);
        for k in 1..200 {
            voice_meter.push(&vec![0.1; 2 * (k % 50)]);
            voice_meter.lost(k as u64);
            voice_meter.lost(k as u64);
        }
        voice_meter.end();
        let heard = voice_meter.measured().unwrap();
        assert_eq!(heard.lost_frames, 199);
        // Whatever was joined, it stays the constant that it was.
        assert!((heard.profile.level.sample_peak_dbfs + 20.0).abs() < 1e-4);
    }
}
