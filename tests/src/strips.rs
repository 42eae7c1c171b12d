//! Random settings from the settings table, and ways to run a strip.

use crate::spectra::Noise;
use voicechain_core::frame::Frame;
use voicechain_core::settings::{self, Scale, SettingInfo};
use voicechain_core::stages::leveller::gain_curve::{self, SubBlockPowerMeter};
use voicechain_core::units::Unit;
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};

/// A random value of a setting: the minimum, the maximum, the default, or anything between on the setting's own scale.
pub fn random_value(info: &SettingInfo, random: &mut Noise) -> f64 {
    let integer = matches!(info.unit, Unit::Switch | Unit::Choice);
    match random.between(0.0, 10.0) as u32 {
        0 => info.min,
        1 => info.max,
        2 if info.unit == Unit::Ratio => f64::INFINITY,
        2 => info.default,
        _ if integer => random.between(info.min, info.max + 0.999).floor(),
        _ if info.scale == Scale::Logarithmic => random.octaves_between(info.min, info.max).clamp(info.min, info.max),
        _ => random.between(info.min, info.max),
    }
}

/// Random settings from the whole table; the look-ahead keeps its default.
pub fn random_settings(random: &mut Noise) -> StripSettings {
    let mut drawn = StripSettings::default();
    for info in settings::rows().filter(|info| info.automatable) {
        drawn.set(info.id, random_value(info, random)).expect("an allowed value");
    }
    for at in (1..drawn.order.len()).rev() {
        drawn.order.swap(at, random.between(0.0, at as f64 + 0.999) as usize);
    }
    drawn
}

/// Coefficients of allowed settings.
///
/// # Panics
/// If the settings are not allowed.
#[must_use]
pub fn coefs<const C: usize>(settings: &StripSettings, rate: SampleRate) -> StripCoefs<C>
where
    [f32; C]: Frame,
{
    StripCoefs::design(settings, rate).expect("allowed settings")
}

/// A new strip on the heap, written in place.
#[must_use]
pub fn strip<const C: usize>(settings: &StripSettings, rate: SampleRate) -> Box<Strip<C>>
where
    [f32; C]: Frame,
{
    let mut strip = Box::new(Strip::NEW);
    strip.set(&coefs(settings, rate));
    strip
}

/// Settings with every switchable stage off.
#[must_use]
pub fn all_off() -> StripSettings {
    let mut s = StripSettings::default();
    for info in settings::rows().filter(|info| info.unit == Unit::Switch && info.name == "on") {
        s.set(info.id, 0.0).expect("a switch");
    }
    s
}

/// Runs a copy of the frames in one call.
pub fn run<const C: usize>(strip: &mut Strip<C>, frames: &[[f32; C]]) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let mut out = frames.to_vec();
    strip.run(&mut out);
    out
}

/// Runs frames as a program for files does: hum and reverberation are analysed ahead, the leveller follows a gain curve
/// computed in advance, and the latency is removed.
pub fn run_file<const C: usize>(strip: &mut Strip<C>, settings: &StripSettings, frames: &[[f32; C]]) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let (mut meter, mut powers) = (SubBlockPowerMeter::<C>::new(strip.rate()), Vec::new());
    meter.push(frames, |power| powers.push(power));
    let mut gains = vec![0.0; powers.len()];
    gain_curve::compute(&powers, settings.trim.gain_db, &settings.leveller, &mut gains);
    strip.analyse_ahead(frames);
    let latency = strip.latency() as usize;
    let mut out = frames.to_vec();
    out.resize(frames.len() + latency, [0.0; C]);
    let step = strip.rate().samples(10.0) as usize;
    for (k, piece) in out.chunks_mut(step).enumerate() {
        let at = gain_curve::gain_index((step * k) as u64, strip.leveller_delay(), strip.rate());
        strip.override_leveller_gain(gains.get(at).or(gains.last()).map(|&db| f64::from(db)));
        strip.run(piece);
    }
    out.split_off(latency)
}

/// Runs a copy of the frames in blocks of random length from 1 to `most`.
pub fn run_split<const C: usize>(
    strip: &mut Strip<C>,
    frames: &[[f32; C]],
    most: usize,
    random: &mut Noise,
) -> Vec<[f32; C]>
where
    [f32; C]: Frame,
{
    let mut out = frames.to_vec();
    let mut rest = &mut out[..];
    while !rest.is_empty() {
        let n = (random.between(1.0, most as f64 + 0.999) as usize).min(rest.len());
        let (now, later) = rest.split_at_mut(n);
        strip.run(now);
        rest = later;
    }
    out
}

/// Index of the first frame in which two signals differ in any bit.
#[must_use]
pub fn first_difference<const C: usize>(a: &[[f32; C]], b: &[[f32; C]]) -> Option<usize> {
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).position(|(a, b)| a.map(f32::to_bits) != b.map(f32::to_bits))
}

/// Index of the first frame with a sample that is not finite, or subnormal.
#[must_use]
pub fn first_invalid<const C: usize>(frames: &[[f32; C]]) -> Option<usize> {
    frames.iter().position(|frame| frame.iter().any(|x| !(*x == 0.0 || x.is_normal())))
}

/// Peak magnitude.
#[must_use]
pub fn peak<const C: usize>(frames: &[[f32; C]]) -> f64 {
    frames.iter().flatten().fold(0.0, |m: f64, &x| m.max(f64::from(x).abs()))
}
