//! Measurements of recorded speakers, and the proposals for them.

use crate::figures::{Figure, Hash, Value, ids, positions};
use crate::signal::voice;
use voicechain_core::SampleRate;
use voicechain_core::frame::Frame;
use voicechain_core::measure::ProfileMeter;
use voicechain_core::measure::profile::{
    Bandwidth, LevelConsistency, Measured, Pitch, Profile, Resonance, Reverberation, Sibilance, TonalBalance,
    Transients,
};
use voicechain_core::propose::{Context, Role, VocalStyle, Warning, carry_over, propose};
use voicechain_tests::recordings::{for_each_speaker, music};
use voicechain_tests::spectra::Noise;

/// Every speaker, some also at other rates and in two channels; music; signals that are not voices.
pub(crate) fn figures() -> Vec<Figure> {
    let mut found: Vec<Figure> = Vec::new();
    for (name, _, mut figures) in for_each_speaker(|speaker| {
        let mono = as_in_16_bits(&speaker.samples);
        let mut figures = vec![(String::from("48000 1"), of(&mono, 48_000.0))];
        if speaker.name.len() % 3 == 0 {
            for hz in [8_000.0, 16_000.0, 44_100.0, 96_000.0] {
                figures.push((format!("{hz} 1"), of(&mono, hz)));
            }
            let late = 4_800;
            let stereo: Vec<[f32; 2]> = (0..mono.len())
                .map(|n| [mono[n][0], 0.6 * mono[n][0] - 0.2 * if n >= late { mono[n - late][0] } else { 0.0 }])
                .collect();
            figures.push((String::from("48000 2"), of(&stereo, 48_000.0)));
        }
        figures
    }) {
        for (how, values) in figures.drain(..) {
            found.push(Figure { name: format!("profile {name} {how}"), values });
        }
    }
    for piece in music().iter().take(4) {
        let mono = as_in_16_bits(&piece.samples);
        found.push(Figure { name: format!("profile music {}", piece.name), values: of(&mono, 48_000.0) });
    }
    let mut noise = Noise::new(7);
    let count = 20 * 48_000;
    let made: [(&str, Vec<[f32; 1]>); 4] = [
        ("silence", vec![[0.0]; count]),
        ("noise", (0..count).map(|_| [0.05 * noise.sample() as f32]).collect()),
        ("bits", (0..count).map(|_| [f32::from_bits((noise.sample().to_bits() >> 13) as u32)]).collect()),
        ("made", voice::<1>(30.0, 48_000.0, 3)),
    ];
    for (name, frames) in made {
        found.push(Figure { name: format!("profile {name}"), values: of(&frames, 48_000.0) });
    }
    found
}

/// One channel with the noise of 16 bits. Decoded and resampled sound has bands without any energy above the rounding
/// of single precision (-150 dBFS), where two transforms round differently.
fn as_in_16_bits(samples: &[f32]) -> Vec<[f32; 1]> {
    let mut noise = Noise::new(16);
    samples.iter().map(|&x| [x + (0.5 / 32_768.0) * noise.sample() as f32]).collect()
}

fn of<const C: usize>(frames: &[[f32; C]], rate_hz: f64) -> Vec<Value>
where
    [f32; C]: Frame,
{
    let rate = SampleRate::new(rate_hz).expect("an allowed rate");
    let mut meter = Box::new(ProfileMeter::<C>::new(rate));
    for piece in frames.chunks(1_021) {
        meter.push(piece);
    }
    let profile = meter.profile();
    let mut values = Values::default();
    values.profile(&profile);
    values.proposals(&profile);
    values.0
}

#[derive(Default)]
struct Values(Vec<Value>);

impl Values {
    fn exact(&mut self, value: impl ToString) {
        self.0.push(Value::exact(value));
    }

    fn near(&mut self, value: f64) {
        self.0.push(Value::Near(value));
    }

    fn measured<T>(&mut self, value: &Measured<T>, known: impl FnOnce(&mut Self, &T)) {
        match value {
            Ok(value) => {
                self.exact("known");
                known(self, value);
            }
            Err(why) => self.exact(format!("unknown{}", *why as u8)),
        }
    }

    fn number(&mut self, value: &Measured<f64>) {
        self.measured(value, |values, number| values.near(*number));
    }

    fn maybe(&mut self, values: &[Option<f64>]) {
        for value in values {
            match value {
                Some(number) => self.near(*number),
                None => self.exact("none"),
            }
        }
    }

    fn profile(&mut self, p: &Profile) {
        self.near(p.rate_hz);
        self.near(p.duration_s);
        self.exact(p.channels);
        self.exact(p.signal_class as u8);
        let l = &p.level;
        self.number(&l.integrated_lufs);
        self.number(&l.loudness_range_lu);
        self.near(l.true_peak_dbtp);
        self.near(l.sample_peak_dbfs);
        self.exact(l.clipping.runs);
        self.exact(l.clipping.samples);
        self.number(&l.active_level_dbov);
        self.near(l.activity_percent);
        self.near(l.active_s);
        self.number(&l.crest_db);
        self.number(&l.speech_peak_dbfs);
        self.measured(
            &p.level_consistency,
            |values, LevelConsistency { phrase_count, standard_deviation_db, median_step_db }| {
                values.exact(phrase_count);
                values.near(*standard_deviation_db);
                values.near(*median_step_db);
            },
        );
        self.measured(&p.transients, |values, Transients { count, per_10_s, max_excess_db }| {
            values.exact(count);
            values.near(*per_10_s);
            values.near(*max_excess_db);
        });
        let g = &p.background_noise;
        self.number(&g.noise_floor_dbfs);
        g.noise_bands_dbfs.iter().for_each(|db| self.near(*db));
        self.number(&g.snr_db);
        self.near(g.rumble_dbfs);
        self.near(g.dc_offset);
        self.measured(&p.hum, |values, hum| match hum {
            None => values.exact("none"),
            Some(hum) => {
                values.near(hum.frequency_hz);
                values.near(hum.level_dbfs);
                values.maybe(&hum.harmonics_dbfs);
            }
        });
        self.measured(&p.pitch, |values, Pitch { low_hz, median_hz, high_hz, voiced_share }| {
            [low_hz, median_hz, high_hz, voiced_share].iter().for_each(|number| values.near(**number));
        });
        self.measured(&p.tonal_balance, |values, tonal_balance: &TonalBalance| {
            values.maybe(&tonal_balance.bands_dbfs);
            values.maybe(&tonal_balance.deviation_db);
            values.number(&tonal_balance.low_end_db);
            values.number(&tonal_balance.presence_db);
            values.number(&tonal_balance.top_end_db);
        });
        self.measured(&p.bandwidth, |values, Bandwidth { high_hz, limited, narrowband }| {
            values.near(*high_hz);
            values.exact(u8::from(*limited));
            values.exact(u8::from(*narrowband));
        });
        self.measured(&p.resonances, |values, candidates| {
            for candidate in candidates {
                match candidate {
                    None => values.exact("none"),
                    Some(Resonance { frequency_hz, prominence_db, q, confidence }) => {
                        [frequency_hz, prominence_db, q, confidence].iter().for_each(|number| values.near(**number));
                    }
                }
            }
        });
        self.measured(&p.sibilance, |values, sibilance| {
            let Sibilance { frequency_hz, excess_db, share_percent, ratio_p90_db } = sibilance;
            [frequency_hz, excess_db, share_percent, ratio_p90_db].iter().for_each(|number| values.near(**number));
        });
        self.measured(&p.reverberation, |values, Reverberation { decay_time_s, dry }| {
            values.near(*decay_time_s);
            values.exact(u8::from(*dry));
        });
    }

    /// The settings and their evidence in every context; the measured values of the evidence in the default context.
    fn proposals(&mut self, profile: &Profile) {
        let usual = propose(profile, Context::default());
        for role in [Role::SoloVoice, Role::OverMusic] {
            for vocal_style in [VocalStyle::Spoken, VocalStyle::Sung] {
                let proposal = propose(profile, Context { role, vocal_style });
                let mut hash = Hash::new();
                hash.bytes(positions(&proposal.settings).as_bytes());
                for evidence in proposal.evidence() {
                    let row = ids().position(|id| id == evidence.setting).unwrap_or(usize::MAX);
                    hash.bytes(&row.to_le_bytes());
                    hash.bytes(&evidence.proposed.to_le_bytes());
                }
                for warning in proposal.warnings() {
                    hash.bytes(&[number(warning)]);
                }
                let carried = carry_over(&usual.settings, &proposal.settings, &usual.settings);
                hash.bytes(positions(&carried).as_bytes());
                self.0.push(hash.value());
            }
        }
        for evidence in usual.evidence() {
            let cause = &evidence.cause;
            self.near(cause.measured.ok().flatten().unwrap_or(f64::NAN));
            self.near(cause.reference.unwrap_or(f64::NAN));
            self.near(cause.confidence);
        }
        self.exact(usual.reasons().count());
    }
}

/// Position of a warning in its enum.
fn number(warning: &Warning) -> u8 {
    match warning {
        Warning::NotAVoice => 0,
        Warning::SeveralVoices => 1,
        Warning::LittleSpeech(_) => 2,
        Warning::Clipped(_) => 3,
        Warning::AlreadyCompressed(_) => 4,
        Warning::NoiseLimitsCompression(_) => 6,
        Warning::ExcessiveNoise(_) => 7,
        Warning::Narrowband(_) => 8,
        Warning::Reverberant(_) => 9,
    }
}
