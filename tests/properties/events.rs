//! Random events in the life of a strip: changes of settings, order, latency and monitoring at any sample.

use voicechain_core::frame::Frame;
use voicechain_core::settings::{SettingInfo, SpectralLatency, StageId, rows};
use voicechain_core::strip::{AuditionBand, MonitorMode, Monitoring};
use voicechain_core::{SampleRate, Strip, StripSettings};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::{coefs, random_settings, random_value, run_split, strip};

/// A call between two frames.
#[derive(Clone, Copy, Debug)]
#[expect(clippy::large_enum_variant, reason = "only a few exist in a test")]
pub(crate) enum Event {
    Settings(StripSettings),
    Monitoring(Monitoring),
    Audition(AuditionBand),
    LevellerGain(Option<f64>),
    /// Analyses the beginning of the same recording, at most this many frames.
    AnalyseAhead(usize),
    ResetMeters,
    Reset,
}

/// Events of every kind at random samples. In half of all cases every stage starts switched on, with spectral latency.
pub(crate) fn random_events(length: usize, count: usize, random: &mut Noise) -> Vec<(usize, Event)> {
    let mut settings = random_settings(random);
    if random.sample() > 0.0 {
        switches().for_each(|info| settings.set(info.id, 1.0).expect("a switch"));
        settings.spectral.latency = SpectralLatency::ALL[random.between(1.0, 2.999) as usize];
    }
    let mut events: Vec<(usize, Event)> = vec![(0, Event::Settings(settings))];
    let mut at = 0;
    for _ in 0..count {
        // Half of them during the transition of the event before.
        at += if random.between(0.0, 1.0) < 0.5 {
            random.between(0.0, 700.0)
        } else {
            random.between(0.0, 1.6 * length as f64 / count as f64)
        } as usize;
        if at >= length {
            break;
        }
        let event = match random.between(0.0, 14.0) as u32 {
            0 => {
                settings = random_settings(random);
                Event::Settings(settings)
            }
            1 | 2 => {
                settings.order.swap(random.between(0.0, 3.99) as usize, random.between(0.0, 3.99) as usize);
                Event::Settings(settings)
            }
            3 => {
                settings.limiter.look_ahead_ms = random.between(0.5, 5.0);
                let latency = SpectralLatency::ALL[random.between(0.0, 2.999) as usize];
                settings.spectral.latency = latency;
                Event::Settings(settings)
            }
            4 | 5 => {
                for info in switches() {
                    settings.set(info.id, random.between(0.0, 1.999).floor()).expect("a switch");
                }
                Event::Settings(settings)
            }
            6 | 7 => {
                let mode = [MonitorMode::Processed, MonitorMode::Unprocessed, MonitorMode::Removed]
                    [random.between(0.0, 2.999) as usize];
                Event::Monitoring(Monitoring { mode, loudness_matched: random.sample() > 0.0 })
            }
            8 if random.sample() > 0.5 => Event::ResetMeters,
            9 if random.sample() > 0.8 => Event::Reset,
            9 if random.sample() > 0.8 => Event::AnalyseAhead(length / 4),
            10 => Event::Audition(match random.between(0.0, 3.0) as u32 {
                0 => AuditionBand::Full,
                1 => AuditionBand::BandPass {
                    frequency_hz: random.octaves_between(60.0, 3_000.0),
                    q: random.between(0.5, 8.0),
                },
                _ => AuditionBand::BellCut { frequency_hz: 900.0, gain_db: random.between(-9.0, 0.0), q: 2.0 },
            }),
            11 => Event::LevellerGain((random.sample() > 0.0).then(|| random.between(-20.0, 20.0))),
            _ => {
                let all: Vec<_> = rows().filter(|info| info.automatable).collect();
                let info = all[random.between(0.0, all.len() as f64 - 0.001) as usize];
                settings.set(info.id, random_value(info, random)).expect("allowed");
                Event::Settings(settings)
            }
        };
        events.push((at, event));
    }
    events
}

/// The switches of all stages.
fn switches() -> impl Iterator<Item = &'static SettingInfo> {
    rows().filter(|info| info.name == "on")
}

/// Runs frames in blocks of up to `most` frames, with events at their samples.
pub(crate) fn play<const C: usize>(
    rate: SampleRate,
    frames: &[[f32; C]],
    events: &[(usize, Event)],
    most: usize,
    random: &mut Noise,
) -> (Vec<[f32; C]>, Box<Strip<C>>)
where
    [f32; C]: Frame,
{
    let mut strip = strip::<C>(&StripSettings::default(), rate);
    let mut out = Vec::with_capacity(frames.len());
    let mut at = 0;
    for &(when, event) in events {
        if when > at {
            out.extend(run_split(&mut strip, &frames[at..when], most, random));
            at = when;
        }
        match event {
            Event::Settings(settings) => strip.set(&coefs(&settings, rate)),
            Event::Monitoring(monitoring) => strip.set_monitoring(monitoring),
            Event::Audition(band) => strip.set_audition(band),
            Event::LevellerGain(gain_db) => strip.override_leveller_gain(gain_db),
            Event::AnalyseAhead(most) => strip.analyse_ahead(&frames[..most.min(frames.len())]),
            Event::ResetMeters => strip.reset_meters(),
            Event::Reset => strip.reset(),
        }
    }
    out.extend(run_split(&mut strip, &frames[at..], most, random));
    (out, strip)
}

/// All meter readings; -1 where there is none.
pub(crate) fn readings<const C: usize>(strip: &Strip<C>) -> Vec<f64>
where
    [f32; C]: Frame,
{
    let mut all = Vec::new();
    if let Some(ledger) = strip.ledger() {
        all.extend(ledger.entries.iter().map(|e| e.lu));
        all.extend([ledger.input_lufs, ledger.total_lu]);
    }
    for meter in [strip.input_loudness(), strip.output_loudness()] {
        let values = [
            meter.momentary(),
            meter.short_term(),
            meter.max_momentary(),
            meter.max_short_term(),
            meter.integrated(),
            meter.range(),
        ];
        all.extend(values.map(|v| v.unwrap_or(-1.0)));
    }
    for meter in [strip.input_true_peak(), strip.output_true_peak()] {
        all.extend(meter.hold_dbtp());
    }
    for meter in StageId::ALL.iter().filter_map(|&stage| strip.reduction(stage)) {
        all.extend([meter.now_db(), meter.largest_db()]);
        all.extend([10.0, 50.0, 95.0].map(|p| meter.percentile_db(p).unwrap_or(-1.0)));
    }
    all.extend(strip.loudness_match_db());
    all.extend([strip.mains_hz(), strip.removed_hum_dbfs()].map(|v| v.unwrap_or(-1.0)));
    all.push(strip.leveller_gain_db());
    let sanitised = strip.sanitised_samples();
    all.extend([sanitised.non_finite as f64, sanitised.clamped as f64]);
    all.extend([f64::from(strip.voice_is_active()), f64::from(strip.latency())]);
    all
}

/// Describes the events up to a sample.
pub(crate) fn events_until(events: &[(usize, Event)], place: usize) -> String {
    let before: Vec<_> = events.iter().filter(|event| event.0 <= place).collect();
    let changes: Vec<String> = before.windows(2).map(|two| changes(two[0], two[1])).collect();
    format!("after {changes:#?} on {:?}", events.first())
}

/// Describes what an event changes.
fn changes(before: &(usize, Event), event: &(usize, Event)) -> String {
    match (before.1, event.1) {
        (Event::Settings(old), Event::Settings(new)) => {
            let rows: Vec<_> = rows()
                .filter(|info| old.get(info.id) != new.get(info.id))
                .map(|info| format!("{} {:?} to {:?}", info.id, old.get(info.id), new.get(info.id)))
                .collect();
            format!("{}: {rows:?} {:?}", event.0, if old.order == new.order { None } else { Some(new.order) })
        }
        (_, Event::Settings(_)) => format!("{}: settings", event.0),
        (_, other) => format!("{}: {other:?}", event.0),
    }
}
