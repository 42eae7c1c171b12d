//! Hashes of the strip's output, and its meter readings.

use crate::figures::{Case, Figure, Hash, Value};
use crate::signal::voice;
use std::thread;
use voicechain_core::frame::Frame;
use voicechain_core::settings::{ReorderableStage, StageId};
use voicechain_core::strip::{AuditionBand, MonitorMode, Monitoring};
use voicechain_core::{SampleRate, Strip, StripCoefs};
use voicechain_tests::spectra::Noise;

const RATES_HZ: [f64; 8] = [8_000.0, 11_025.0, 16_000.0, 32_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0];
const SECONDS: f64 = 2.5;

/// All combinations of settings, rates and channels, on two threads.
pub(crate) fn figures(cases: &[Case]) -> Result<Vec<Figure>, String> {
    let parts: Vec<Vec<f64>> = vec![
        RATES_HZ.iter().copied().filter(|hz| *hz < 192_000.0).collect(),
        RATES_HZ.iter().copied().filter(|hz| *hz >= 192_000.0).collect(),
    ];
    let mut found: Vec<Figure> = thread::scope(|scope| {
        let threads: Vec<_> = parts
            .iter()
            .map(|rates| {
                let work = move || {
                    let mut found = Vec::new();
                    for &hz in rates {
                        for at in 0..cases.len() {
                            found.push(of_case::<1>(cases, at, hz)?);
                            found.push(of_case::<2>(cases, at, hz)?);
                        }
                    }
                    Ok(found)
                };
                thread::Builder::new().stack_size(16 << 20).spawn_scoped(scope, work).expect("a thread")
            })
            .collect();
        threads
            .into_iter()
            .map(|thread| thread.join().expect("no panic"))
            .collect::<Result<Vec<Vec<Figure>>, String>>()
            .map(|parts| parts.concat())
    })?;
    found.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(found)
}

fn of_case<const C: usize>(cases: &[Case], at: usize, hz: f64) -> Result<Figure, String>
where
    [f32; C]: Frame,
{
    let rate = SampleRate::new(hz).map_err(|e| e.to_string())?;
    let all: Vec<StripCoefs<C>> = cases
        .iter()
        .map(|case| StripCoefs::design(&case.settings, rate).map_err(|e| format!("{}: {e}", case.name)))
        .collect::<Result<_, _>>()?;
    let signal = voice::<C>(SECONDS, hz, 1 + at as u64);
    let mut runs = Runs { case: &cases[at], others: &all, at, rate, signal: &signal, values: Vec::new() };
    runs.values.push(Value::exact(all[at].latency()));
    runs.values.push(Value::exact(all[at].tail()));
    runs.whole();
    runs.split();
    runs.monitoring();
    runs.order()?;
    runs.motion();
    runs.analysing_ahead();
    Ok(Figure { name: format!("strip {} {hz} {C}", cases[at].name), values: runs.values })
}

struct Runs<'a, const C: usize>
where
    [f32; C]: Frame,
{
    case: &'a Case,
    others: &'a [StripCoefs<C>],
    at: usize,
    rate: SampleRate,
    signal: &'a [[f32; C]],
    values: Vec<Value>,
}

impl<const C: usize> Runs<'_, C>
where
    [f32; C]: Frame,
{
    fn fresh(&self) -> Box<Strip<C>> {
        Box::new(Strip::new(&self.others[self.at]))
    }

    fn random(&self, salt: u64) -> Noise {
        Noise::new(1_000 * salt + 10 * self.at as u64 + C as u64)
    }

    fn hash(&mut self, frames: &[[f32; C]]) {
        let mut hash = Hash::new();
        hash.samples(frames.iter().flatten());
        self.values.push(hash.value());
    }

    /// Runs in blocks of random length and calls `before` ahead of each.
    fn pieces(
        &self,
        strip: &mut Strip<C>,
        random: &mut Noise,
        [least, most]: [f64; 2],
        mut before: impl FnMut(&mut Strip<C>, &mut Noise),
    ) -> Vec<[f32; C]> {
        let mut out = self.signal.to_vec();
        let mut rest = &mut out[..];
        while !rest.is_empty() {
            before(strip, random);
            let n = (random.between(least, most) as usize).clamp(1, rest.len());
            let (now, later) = rest.split_at_mut(n);
            strip.run(now);
            rest = later;
        }
        out
    }

    /// One call for the whole signal, and the meter readings after it.
    fn whole(&mut self) {
        let mut strip = self.fresh();
        let mut out = self.signal.to_vec();
        strip.run(&mut out);
        self.hash(&out);
        let near = |value: Option<f64>| Value::Near(value.unwrap_or(f64::NAN));
        let values = &mut self.values;
        values.push(near(strip.input_loudness().integrated()));
        values.push(near(strip.output_loudness().integrated()));
        values.push(Value::Near(strip.input_true_peak().hold().into_iter().sum()));
        values.push(Value::Near(strip.output_true_peak().hold().into_iter().sum()));
        values.push(near(strip.mains_hz()));
        values.push(near(strip.removed_hum_dbfs()));
        values.push(Value::Near(strip.leveller_gain_db()));
        values.extend(strip.loudness_match_db().map(Value::Near));
        values.push(Value::exact(u8::from(strip.voice_is_active())));
        let sanitised = strip.sanitised_samples();
        values.push(Value::exact(sanitised.non_finite + sanitised.clamped));
        for &stage in StageId::ALL {
            if let Some(meter) = strip.reduction(stage) {
                values.push(near(meter.percentile_db(95.0)));
                values.push(Value::Near(meter.largest_db()));
            }
        }
        if let Some(ledger) = strip.ledger() {
            values.push(Value::Near(ledger.total_lu));
            values.push(Value::Near(ledger.input_lufs));
            for entry in ledger.entries {
                values.push(Value::exact(entry.stage as u8));
                values.push(Value::Near(entry.lu));
            }
        }
    }

    fn split(&mut self) {
        let (mut strip, mut random) = (self.fresh(), self.random(1));
        let out = self.pieces(&mut strip, &mut random, [1.0, 300.0], |_, _| {});
        self.hash(&out);
    }

    fn monitoring(&mut self) {
        let (mut strip, mut random) = (self.fresh(), self.random(2));
        let out = self.pieces(&mut strip, &mut random, [200.0, 9_000.0], |strip, random| {
            let mode = [MonitorMode::Processed, MonitorMode::Unprocessed, MonitorMode::Removed]
                [random.between(0.0, 2.999) as usize];
            strip.set_monitoring(Monitoring { mode, loudness_matched: random.sample() > 0.0 });
            if random.sample() > 0.3 {
                let frequency_hz = 300.0 + 1_700.0 * random.between(0.0, 1.0);
                strip.set_audition(match random.between(0.0, 2.999) as usize {
                    0 => AuditionBand::Full,
                    1 => AuditionBand::BandPass { frequency_hz, q: 3.0 },
                    _ => AuditionBand::BellCut { frequency_hz, gain_db: -6.0, q: 3.0 },
                });
            }
        });
        self.hash(&out);
    }

    fn order(&mut self) -> Result<(), String> {
        let (mut strip, mut random) = (self.fresh(), self.random(3));
        let mut settings = self.case.settings;
        let mut designs = Vec::new();
        for _ in 0..6 {
            for at in (1..settings.order.len()).rev() {
                settings.order.swap(at, random.between(0.0, at as f64 + 0.999) as usize);
            }
            designs.push(StripCoefs::<C>::design(&settings, self.rate).map_err(|e| e.to_string())?);
        }
        debug_assert_eq!(settings.order.len(), ReorderableStage::ALL.len());
        let out = self.pieces(&mut strip, &mut random, [60.0, 9_000.0], |strip, random| {
            strip.set(&designs[random.between(0.0, 5.999) as usize]);
        });
        self.hash(&out);
        Ok(())
    }

    /// Transitions to the settings of other cases and back, including switches, stage order and latency.
    fn motion(&mut self) {
        let (mut strip, mut random) = (self.fresh(), self.random(4));
        let last = self.others.len() as f64 - 0.001;
        let out = self.pieces(&mut strip, &mut random, [50.0, 8_000.0], |strip, random| {
            let to = if random.sample() > 0.2 { random.between(0.0, last) as usize } else { self.at };
            strip.set(&self.others[to]);
            if random.sample() > 0.8 {
                strip.reset_meters();
            }
        });
        self.hash(&out);
    }

    /// Analysis ahead and leveller gains as for files; then a reset and planar blocks.
    fn analysing_ahead(&mut self) {
        let mut strip = self.fresh();
        strip.analyse_ahead(self.signal);
        let mut out = self.signal.to_vec();
        for (k, piece) in out.chunks_mut(441).enumerate() {
            strip.override_leveller_gain((k % 40 != 0).then_some((k % 13) as f64 - 6.0));
            strip.run(piece);
        }
        self.hash(&out);
        strip.override_leveller_gain(None);
        strip.reset();
        let mut channels: [Vec<f32>; C] = std::array::from_fn(|c| self.signal.iter().map(|frame| frame[c]).collect());
        for start in (0..self.signal.len() / 2).step_by(777) {
            let end = (start + 777).min(self.signal.len() / 2);
            strip.run_planar(channels.each_mut().map(|channel| &mut channel[start..end]));
        }
        let mut hash = Hash::new();
        hash.samples(channels.iter().flatten());
        self.values.push(hash.value());
    }
}
