//! The level ledger agrees with an independent measurement.

use crate::rate;
use approx::{abs_diff_eq, assert_abs_diff_eq};
use voicechain_core::frame::Frame;
use voicechain_core::settings::{ReorderableStage, SpectralLatency, StageId};
use voicechain_core::stages::{
    Compressor, CorrectiveEq, DeEsser, DeReverb, Expander, HighPass, Hum, Leveller, Limiter, OutputTrim, Processor,
    Stage, StageCoefs, ToneEq, Trim,
};
use voicechain_core::strip::StartingPoint;
use voicechain_core::{SampleRate, StripSettings};
use voicechain_tests::channels::ChannelPattern;
use voicechain_tests::signals::{mono, phrases};
use voicechain_tests::strips::{run, strip};

/// Runs one stage alone, on or off; off, it delays by its latency.
fn through<S: Stage<C>, const C: usize>(s: &S::Settings, on: bool, rate: SampleRate, frames: &mut [[f32; C]])
where
    [f32; C]: Frame,
{
    Processor::new(&StageCoefs::<S, C>::design(s, on, rate).expect("allowed")).run(frames);
}

/// K-weighted energies of every 100 ms, summed over channels, by two biquads written out here (ITU-R BS.1770, Tables 1
/// and 2).
fn hops<const C: usize>(frames: &[[f32; C]]) -> Vec<f64> {
    const SHELF: [f64; 5] =
        [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585];
    const HIGH_PASS: [f64; 5] = [1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621];
    let mut states = [[[0.0; 2]; 2]; C];
    let mut sums = Vec::new();
    for chunk in frames.chunks_exact(4_800) {
        let mut sum = 0.0;
        for frame in chunk {
            for (sample, states) in frame.iter().zip(&mut states) {
                let mut x = f64::from(*sample);
                for ([b0, b1, b2, a1, a2], s) in [SHELF, HIGH_PASS].iter().zip(states) {
                    let y = b0 * x + s[0];
                    s[0] = b1 * x - a1 * y + s[1];
                    s[1] = b2 * x - a2 * y;
                    x = y;
                }
                sum += x * x;
            }
        }
        sums.push(sum);
    }
    sums
}

/// Loudness at every ledger point over the blocks that pass both gates at the first point (ITU-R BS.1770 Annex 1, eq. 2
/// to 7).
fn gated(points: &[Vec<f64>]) -> Vec<f64> {
    let blocks = |hops: &[f64]| -> Vec<f64> { hops.windows(4).map(|w| w.iter().sum::<f64>() / 19_200.0).collect() };
    let lufs = |mean: f64| -0.691 + 10.0 * mean.log10();
    let mean = |values: &[f64], pass: &[bool]| {
        let chosen: Vec<f64> = values.iter().zip(pass).filter(|(_, p)| **p).map(|(v, _)| *v).collect();
        chosen.iter().sum::<f64>() / chosen.len() as f64
    };
    let length = points.iter().map(Vec::len).min().expect("points");
    let first = blocks(&points[0][..length]);
    let absolute: Vec<bool> = first.iter().map(|&b| lufs(b) > -70.0).collect();
    let gate = lufs(mean(&first, &absolute)) - 10.0;
    let pass: Vec<bool> = first.iter().map(|&b| lufs(b) > -70.0 && lufs(b) > gate).collect();
    points.iter().map(|point| lufs(mean(&blocks(&point[..length]), &pass))).collect()
}

fn check<const C: usize>(s: &StripSettings, frames: &[[f32; C]], name: &str)
where
    [f32; C]: Frame,
{
    let rate = rate(48_000.0);
    let mut strip = strip::<C>(s, rate);
    let latency = strip.latency() as usize;
    let out = run(&mut strip, frames);
    let ledger = strip.ledger().expect("loud enough");

    let mut signal = frames.to_vec();
    let mut points = vec![hops(&signal)];
    let mut stages = StageId::ALL[..6].to_vec();
    through::<Trim, C>(&s.trim, true, rate, &mut signal);
    points.push(hops(&signal));
    through::<Hum, C>(&s.hum, s.hum.on, rate, &mut signal);
    points.push(hops(&signal));
    through::<HighPass, C>(&s.high_pass, s.high_pass.on, rate, &mut signal);
    points.push(hops(&signal));
    through::<DeReverb, C>(&s.into(), s.de_reverb.on, rate, &mut signal);
    let delay = StageCoefs::<DeReverb, C>::design(&s.into(), true, rate).expect("allowed").latency() as usize;
    points.push(hops(&signal[delay..]));
    through::<Expander, C>(&s.expander, s.expander.on, rate, &mut signal);
    points.push(hops(&signal[delay..]));
    through::<Leveller, C>(&s.leveller, s.leveller.on, rate, &mut signal);
    points.push(hops(&signal[delay..]));
    for stage in s.order {
        match stage {
            ReorderableStage::CorrectiveEq => {
                through::<CorrectiveEq, C>(&s.corrective_eq, s.corrective_eq.on, rate, &mut signal)
            }
            ReorderableStage::DeEsser => through::<DeEsser, C>(&s.de_esser, s.de_esser.on, rate, &mut signal),
            ReorderableStage::Compressor => through::<Compressor, C>(&s.compressor, s.compressor.on, rate, &mut signal),
            ReorderableStage::ToneEq => through::<ToneEq, C>(&s.tone_eq, s.tone_eq.on, rate, &mut signal),
        }
        stages.push(match stage {
            ReorderableStage::CorrectiveEq => StageId::CorrectiveEq,
            ReorderableStage::DeEsser => StageId::DeEsser,
            ReorderableStage::Compressor => StageId::Compressor,
            ReorderableStage::ToneEq => StageId::ToneEq,
        });
        points.push(hops(&signal[delay..]));
    }
    through::<Limiter, C>(&s.limiter, s.limiter.on, rate, &mut signal);
    points.push(hops(&signal[latency..]));
    through::<OutputTrim, C>(&s.output, true, rate, &mut signal);
    points.push(hops(&signal[latency..]));
    stages.extend([StageId::Limiter, StageId::Output]);
    assert_eq!(
        voicechain_tests::strips::first_difference(&out, &signal),
        None,
        "{name}: the strip equals its stages in series"
    );

    let loudness = gated(&points);
    for (k, entry) in ledger.entries.iter().enumerate() {
        let expected = loudness[k + 1] - loudness[k];
        assert_eq!(entry.stage, stages[k]);
        assert!((entry.lu - expected).abs() < 0.02, "{name}, {:?}: {} LU, not {expected}", entry.stage, entry.lu);
    }
    assert!((ledger.input_lufs - loudness[0]).abs() < 0.02, "{name}: {} LUFS, not {}", ledger.input_lufs, loudness[0]);
    let sum: f64 = ledger.entries.iter().map(|e| e.lu).sum();
    assert!(abs_diff_eq!(sum, ledger.total_lu, epsilon = 1e-9), "{name}: {sum} against {}", ledger.total_lu);
    for (stage, on) in [
        (StageId::Hum, s.hum.on),
        (StageId::HighPass, s.high_pass.on),
        (StageId::Expander, s.expander.on),
        (StageId::Leveller, s.leveller.on),
        (StageId::CorrectiveEq, s.corrective_eq.on),
        (StageId::DeEsser, s.de_esser.on),
        (StageId::Compressor, s.compressor.on),
        (StageId::ToneEq, s.tone_eq.on),
    ] {
        let entry = ledger.entries.iter().find(|e| e.stage == stage).expect("an entry");
        assert!(on || entry.lu == 0.0, "{name}: {stage:?} is off but reads {}", entry.lu);
    }
}

#[test]
fn ledger_entries_equal_the_gated_loudness_differences() {
    let signal = phrases(-24.0, 48_000.0, 7.0, 14);
    let sounding = ChannelPattern::ALL.into_iter().filter(|pattern| *pattern != ChannelPattern::Silent);
    for (point, pattern) in StartingPoint::ALL.into_iter().zip(sounding.cycle()) {
        let mut settings = point.settings();
        settings.trim.gain_db = 3.5;
        settings.output.gain_db = -2.0;
        check(&settings, &mono(&signal), point.name());
        settings.hum.on = true;
        settings.de_reverb.on = true;
        settings.spectral.latency = SpectralLatency::High;
        settings.expander.on = true;
        settings.leveller.on = true;
        settings.order.reverse();
        settings.tone_eq.on = false;
        settings.de_esser.on = false;
        check(&settings, &pattern.frames(&signal), &format!("{} {pattern:?}", point.name()));
    }
}

#[test]
fn a_trim_of_6_db_reads_6_lu_in_the_ledger() {
    let mut settings = voicechain_tests::strips::all_off();
    settings.trim.gain_db = 6.0;
    let mut strip = strip::<2>(&settings, rate(48_000.0));
    run(&mut strip, &ChannelPattern::RightPauses.frames(&phrases(-30.0, 48_000.0, 3.0, 3)));
    let ledger = strip.ledger().expect("loud enough");
    assert_abs_diff_eq!(ledger.entries[0].lu, 6.0, epsilon = 1e-6);
    assert_abs_diff_eq!(ledger.total_lu, 6.0, epsilon = 1e-6);
    assert!(ledger.entries[1..StageId::ALL.len() - 1].iter().all(|e| e.lu.abs() < 1e-9), "{ledger:?}");
}

#[test]
fn ledger_counts_energy_during_gain_changes() {
    // +6 dB half of the time, switched inside sub-blocks: mean power (1 + 10^0.6)/2, 3.97 LU.
    let mut settings = voicechain_tests::strips::all_off();
    let rate = rate(48_000.0);
    let mut strip = strip::<1>(&settings, rate);
    let frames = mono(&voicechain_tests::signals::sine(1_000.0, -30.0, 48_000.0, 48_000));
    for round in 0..40 {
        settings.output.gain_db = if round % 2 == 0 { 6.0 } else { 0.0 };
        strip.set(&voicechain_tests::strips::coefs(&settings, rate));
        run(&mut strip, &frames[..7_150]);
    }
    let expected = 10.0 * ((1.0 + 10f64.powf(0.6)) / 2.0).log10();
    let found = strip.ledger().expect("loud enough").entries[StageId::ALL.len() - 1].lu;
    // The gain ramps of 10 ms in 149 ms cancel to a few hundredths of a dB.
    assert_abs_diff_eq!(found, expected, epsilon = 0.1);
}
