//! How much of every band is late reverberation or noise, and the gain that follows.

use super::parameters::Parameters;
use super::predictor::{Interference, PredictionPowers};
use super::stft::{BANDS, BANDS_PER_FLOOR, FLOORS, Stft};

/// Hops between a sound and its late reverberation, at most.
const MAX_LATE_HOPS: usize = 24;
/// Parts of the stretch of the noise floor.
const PARTS: usize = 8;
/// So far under what is loud noise counts in full, and not at all, dB: chosen from four pairs on the half that chooses.
const NOISY_DB: f32 = 27.0;
const CLEAN_DB: f32 = 37.0;
/// Where the sound of all bands is so far over what is late and noise in it, nothing else is heard, and where it is so far
/// over, direct sound is, dB. There this share of the range (in dB) bounds the suppression, and a deeper floor is left to
/// pauses and the ends of words, in which nothing can be damaged: chosen on the half that chooses, of both limits from -3 to
/// 10 dB and of depths from 12 to 18 dB. Where noise is heard it lies under the direct sound too, and the bound is deeper. Of
/// shares of 0.4 to 0.8 the one that gains ESTOI (.002 to .004) and PESQ (.02 in rooms of 0.27 s) for 0.4 dB of the pauses of
/// long rooms; in noise less than 0.8 loses PESQ.
const LATE_DB: f32 = -3.0;
const DIRECT_DB: f32 = 3.0;
const DIRECT_SHARE: f32 = 0.55;
const DIRECT_SHARE_IN_NOISE: f32 = 0.8;
/// Late sound is taken for so many times as much where nothing else is heard: of 1, 1.3, 1.5, 1.6 and 2 the one that lowers
/// pauses (by 0.6 dB) and raises PESQ without losing more than .002 ESTOI, on the half that chooses. Held notes, which are
/// direct sound, lose nothing by it.
const LATE_OVERSUBTRACTION: f32 = 1.5;
/// And where direct sound is heard for so many times as much, as far as the room is doubtful: of 0.3 to 1 the one that gains
/// ESTOI (.002) and segmental ratio (0.3 dB in active speech) in rooms of 0.27 s and costs no PESQ, on the half that chooses.
const LATE_SHARE_BESIDE_DIRECT: f32 = 0.5;
/// What is loud is never farther under the sound, or under full scale if that is less, than this share of its power (-40 dB):
/// after silence it is known in a second.
const INSTANT_PEAK_SHARE: f32 = 1e-4;
/// Powers below this are nothing.
const MIN_POWER: f32 = 1e-20;
/// The output is the delayed input while less than this share of the power (-70 dB) would be taken away.
const MIN_REMOVED_SHARE: f32 = 1e-7;

/// What the suppressor remembers of the bands.
#[derive(Clone, Debug)]
pub(super) struct Suppressor {
    pub(super) powers: [f32; BANDS],
    pub(super) gains: [f32; BANDS],
    /// Smoothed power without its noise, of the last hop.
    smooth: [f32; BANDS],
    reverberation: [f32; BANDS],
    /// The last hops' reverberation, the upper half of each number.
    history: [[u16; BANDS]; MAX_LATE_HOPS],
    at: usize,
    /// Where in it the late sound of the running hop is.
    oldest: usize,
    /// Power that passed in the last hop.
    passed: [f32; BANDS],
    noise_smooth: [f32; FLOORS],
    noise_running: [f32; FLOORS],
    noise_past: [[f32; FLOORS]; PARTS],
    noise: [f32; FLOORS],
    part: usize,
    parts: usize,
    hops: u32,
    /// What is loud here: power of all bands together.
    loud: f32,
}

/// What a hop has found.
#[derive(Clone, Copy, Debug)]
pub(super) struct GainSummary {
    /// The gain above the judged bands.
    pub(super) above: f32,
    /// False when next to nothing is taken away.
    pub(super) acts: bool,
    /// Power after over power before.
    pub(super) left: f32,
}

impl Suppressor {
    pub(super) const NEW: Self = Self {
        powers: [0.0; BANDS],
        gains: [1.0; BANDS],
        smooth: [0.0; BANDS],
        reverberation: [0.0; BANDS],
        history: [[0; BANDS]; MAX_LATE_HOPS],
        at: 0,
        oldest: 0,
        passed: [0.0; BANDS],
        noise_smooth: [0.0; FLOORS],
        noise_running: [f32::MAX; FLOORS],
        noise_past: [[f32::MAX; FLOORS]; PARTS],
        noise: [0.0; FLOORS],
        part: 0,
        parts: 0,
        hops: 0,
        loud: MIN_POWER,
    };

    /// Becomes [`NEW`](Self::NEW), in place: it would be a burden on the stack of an audio thread.
    pub(super) fn clear(&mut self) {
        self.gains.fill(1.0);
        for values in [&mut self.powers, &mut self.smooth, &mut self.reverberation, &mut self.passed] {
            values.fill(0.0);
        }
        self.history.iter_mut().for_each(|values| values.fill(0));
        self.noise_past.iter_mut().for_each(|values| values.fill(f32::MAX));
        self.noise_running.fill(f32::MAX);
        self.noise_smooth.fill(0.0);
        self.noise.fill(0.0);
        (self.at, self.oldest, self.part, self.parts, self.hops) = (0, 0, 0, 0, 0);
        self.loud = MIN_POWER;
    }

    /// Forgets the sound and keeps noise floor and loudness.
    pub(super) fn end_analysis(&mut self) {
        self.gains.fill(1.0);
        for values in [&mut self.powers, &mut self.smooth, &mut self.reverberation, &mut self.passed] {
            values.fill(0.0);
        }
        self.history.iter_mut().for_each(|values| values.fill(0));
        self.noise_smooth = self.noise;
        (self.at, self.oldest) = (0, 0);
    }

    /// Begins a hop: what of the sound before it is late now is [`interference`](Self::interference) from here on.
    ///
    /// Habets, Gannot, Cohen, "Late Reverberant Spectral Variance Estimation Based on a Statistical Model", IEEE Signal
    /// Processing Letters 16(9):770-773, 2009, which with a feed of 1 is Lebart, Boucher, Denbigh, Acta Acustica 87:359-366,
    /// 2001.
    pub(super) fn begin(&mut self, stft: &Stft, parameters: &Parameters) {
        let n = stft.bands.min(BANDS);
        let slots = stft.late_hops.clamp(2, MAX_LATE_HOPS);
        self.at = (self.at + 1) % slots;
        // Written last time round the ring; after this hop's own is written, the oldest is next.
        self.oldest = (self.at + 1) % slots;
        for ((r, smooth), slot) in
            self.reverberation[..n].iter_mut().zip(&self.smooth[..n]).zip(&mut self.history[self.at][..n])
        {
            let next = parameters.decay_per_hop
                * ((1.0 - parameters.reverberant_share) * *r + parameters.reverberant_share * smooth);
            *r = if next > MIN_POWER { next } else { 0.0 };
            *slot = (r.to_bits().wrapping_add(0x8000) >> 16) as u16;
        }
    }

    /// What is late and what is noise in the running hop.
    pub(super) fn interference(&self) -> Interference<'_> {
        Interference { late: &self.history[self.oldest], noise: &self.noise }
    }

    /// Finds the gains of a hop that has begun from its powers.
    ///
    /// Gain: Wiener, with the decision-directed ratio of Ephraim and Malah 1984. Noise: the lowest smoothed power of 1.5 s
    /// (Martin 2001), which is left out of what reverberates and taken away with it where it is heard; it is learnt from
    /// frames that are `filled`, which silence from before the beginning is not in.
    pub(super) fn hop(
        &mut self,
        stft: &Stft,
        parameters: &Parameters,
        predicted: &PredictionPowers,
        filled: bool,
    ) -> GainSummary {
        let (n, oldest) = (stft.bands.min(BANDS), self.oldest);
        if filled {
            self.update_noise_floor(stft, n, oldest, parameters.decay_until_late);
        }
        let [all, late, noise] = self.sums(n, oldest);
        let heard = self.noise_audibility(stft, all, noise);
        // Where no room is heard, late sound is not taken, and nothing at all where there is no noise to take either.
        let late_share = parameters.decay_until_late * (predicted.room + (1.0 - predicted.room) * (1.0 - heard));
        let strength =
            parameters.strength * predicted.room + parameters.noise_only_strength * (1.0 - predicted.room) * heard;
        let direct = direct(all, late_share * late + heard * noise);
        let share = DIRECT_SHARE + heard * (DIRECT_SHARE_IN_NOISE - DIRECT_SHARE);
        let floor = libm::powf(parameters.floor, 1.0 + direct * (share - 1.0));
        let beside_direct = 1.0 + parameters.detection_weight * (LATE_SHARE_BESIDE_DIRECT - 1.0);
        let late_share = late_share * (LATE_OVERSUBTRACTION + direct * (beside_direct - LATE_OVERSUBTRACTION));
        let (powers, gains) = (&self.powers[..n], &mut self.gains[..n]);
        let (late, passed, smooth) = (&self.history[oldest][..n], &mut self.passed[..n], &mut self.smooth[..n]);
        // The noise of each band, spread out.
        for (gains, noise) in gains.as_chunks_mut::<BANDS_PER_FLOOR>().0.iter_mut().zip(&self.noise) {
            *gains = [heard * *noise; BANDS_PER_FLOOR];
        }
        for ((((gain, &power), &late), passed), smooth) in
            gains.iter_mut().zip(powers).zip(late).zip(passed).zip(smooth)
        {
            let noise = *gain;
            let interference = late_share * f32::from_bits(u32::from(late) << 16) + noise;
            let interference = if interference > MIN_POWER { interference } else { MIN_POWER };
            let over = power - interference;
            let over = if over > 0.0 { over } else { 0.0 };
            // The ratio is this over what is unwanted; of that the Wiener gain, with one division.
            let wanted =
                parameters.decision_directed_weight * *passed + (1.0 - parameters.decision_directed_weight) * over;
            let wiener = wanted / (wanted + interference);
            let wiener = if wiener > floor { wiener } else { floor };
            let left = wiener * wiener * power;
            *passed = if left > MIN_POWER { left } else { 0.0 };
            let drive = power - noise;
            let drive = if drive > 0.0 { drive } else { 0.0 };
            let next = drive + parameters.feed_smoothing * (*smooth - drive);
            *smooth = if next > MIN_POWER { next } else { 0.0 };
            *gain = 1.0 + strength * (wiener - 1.0);
        }
        self.summarise(n, predicted)
    }

    /// The powers of all bands together: of the sound, of what becomes late of it, of the noise.
    fn sums(&self, n: usize, oldest: usize) -> [f32; 3] {
        let mut sums = [[0.0f32; 8]; 2];
        let (powers, late) = (self.powers[..n].as_chunks::<8>().0, self.history[oldest][..n].as_chunks::<8>().0);
        for (powers, late) in powers.iter().zip(late) {
            for k in 0..8 {
                sums[0][k] += powers[k];
                sums[1][k] += f32::from_bits(u32::from(late[k]) << 16);
            }
        }
        let [all, late] = sums.map(|sum| sum.iter().sum());
        [all, late, BANDS_PER_FLOOR as f32 * self.noise[..n.div_ceil(BANDS_PER_FLOOR)].iter().sum::<f32>()]
    }

    /// How far the noise counts, 0 to 1: all of it where it is heard under what is loud, nothing where it is the ground of
    /// a clean recording, from which it could only be taken with what the voice leaves of its own.
    fn noise_audibility(&mut self, stft: &Stft, all: f32, noise: f32) -> f32 {
        let most = (self.loud * stft.peak_rise).max(INSTANT_PEAK_SHARE * all.min(stft.full_scale));
        self.loud = all.clamp(self.loud * stft.peak_decay, most).max(MIN_POWER);
        if noise < MIN_POWER {
            return 1.0;
        }
        let under_db = 10.0 * libm::log10f(self.loud / noise);
        ((CLEAN_DB - under_db) / (CLEAN_DB - NOISY_DB)).clamp(0.0, 1.0)
    }

    /// What the gains do to the powers, and the prediction did.
    fn summarise(&self, n: usize, predicted: &PredictionPowers) -> GainSummary {
        let mut sums = [[0.0f32; 8]; 3];
        let (powers, gains) = (self.powers[..n].as_chunks::<8>().0, self.gains[..n].as_chunks::<8>().0);
        for (powers, gains) in powers.iter().zip(gains) {
            for k in 0..8 {
                let (power, gain) = (powers[k], gains[k]);
                sums[0][k] += power;
                sums[1][k] += gain * gain * power;
                sums[2][k] += (1.0 - gain) * (1.0 - gain) * power;
            }
        }
        let [all, left, taken] = sums.map(|sum| sum.iter().sum::<f32>());
        // Before anything was taken.
        let all = all + (predicted.before - predicted.after);
        let top = &self.gains[n - n / 4..n];
        GainSummary {
            above: top.iter().sum::<f32>() / top.len() as f32,
            acts: taken + predicted.between > MIN_REMOVED_SHARE * all && all > MIN_POWER,
            left: if all > MIN_POWER { left / all } else { 1.0 },
        }
    }

    /// Follows the noise: what is left of the powers without the late reverberation that was found, or a room in which
    /// pauses are filled would count as noise.
    fn update_noise_floor(&mut self, stft: &Stft, n: usize, oldest: usize, late_share: f32) {
        let count = n.div_ceil(BANDS_PER_FLOOR);
        // The number of bands is a power of two.
        let (powers, late) =
            (self.powers[..n].as_chunks::<BANDS_PER_FLOOR>().0, self.history[oldest][..n].as_chunks().0);
        for (((powers, late), smooth), running) in
            powers.iter().zip(late).zip(&mut self.noise_smooth).zip(&mut self.noise_running)
        {
            let [a, b, c, d] = *powers;
            let [e, f, g, h] = late.map(|late: u16| f32::from_bits(u32::from(late) << 16));
            let power = 0.25 * ((a + b + c + d) - late_share * (e + f + g + h));
            // The first hop is where it begins.
            let kept = if self.hops == 0 && self.parts == 0 { 0.0 } else { stft.noise_smoothing };
            let next = power + kept * (*smooth - power);
            // Below zero too: more was found late than there was.
            *smooth = if next.abs() > MIN_POWER { next } else { 0.0 };
            let known = if *smooth > 0.0 { *smooth } else { 0.0 };
            *running = if known < *running { known } else { *running };
        }
        self.hops += 1;
        let whole = self.hops >= stft.noise_hops;
        for k in 0..count {
            let known = self.noise_running[k] * stft.noise_bias;
            if known < self.noise[k] {
                self.noise[k] = known;
            }
        }
        if !whole {
            return;
        }
        self.hops = 0;
        self.noise_past[self.part] = self.noise_running;
        self.part = (self.part + 1) % PARTS;
        self.parts = (self.parts + 1).min(PARTS);
        for k in 0..count {
            let lowest = self.noise_past.iter().map(|part| part[k]).fold(f32::MAX, |a, b| if b < a { b } else { a });
            let lowest = lowest * stft.noise_bias;
            // A held note is no noise: once known, the floor rises slowly.
            let most = if self.parts < PARTS { lowest } else { self.noise[k] * stft.noise_rise + stft.noise_least };
            self.noise[k] = if lowest < most { lowest } else { most };
        }
        self.noise_running = [f32::MAX; FLOORS];
    }
}

/// How far direct sound is heard, 0 to 1, in a hop with this power, of which so much is unwanted.
fn direct(all: f32, interference: f32) -> f32 {
    let over_db = 10.0 * libm::log10f(all.max(MIN_POWER) / interference.max(MIN_POWER));
    ((over_db - LATE_DB) / (DIRECT_DB - LATE_DB)).clamp(0.0, 1.0)
}

#[cfg(test)]
impl Suppressor {
    /// One that takes so much power of every band for late.
    pub(super) fn with_late(power: f32) -> Self {
        let mut fresh = Self::NEW;
        fresh.history.iter_mut().for_each(|values| values.fill((power.to_bits() >> 16) as u16));
        fresh
    }

    /// The mean noise floor of the bands.
    pub(super) fn mean_noise(&self, bands: usize) -> f64 {
        let floors = &self.noise[2..bands / BANDS_PER_FLOOR - 2];
        floors.iter().map(|&f| f64::from(f)).sum::<f64>() / floors.len() as f64
    }
}
