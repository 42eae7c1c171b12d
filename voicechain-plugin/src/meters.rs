//! Meter readings from the audio thread to an editor.
//!
//! While an editor watches, the audio thread writes a reading into a lock-free ring buffer every 10 ms, or once per
//! block if that is longer. Readings that do not fit are dropped.

use crate::redraw::RedrawFlag;
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use voicechain_core::frame::Frame;
use voicechain_core::settings::StageId;
use voicechain_core::strip::Ledger;
use voicechain_core::{SampleRate, Strip};

/// Capacity of the ring buffer, readings: a few seconds.
const CAPACITY: usize = 256;
/// Readings per second.
const READINGS_PER_SECOND: f64 = 100.0;
/// Interval of the level ledger, readings. It is read less often because it costs a pass over its blocks.
const LEDGER_EVERY: u32 = 10;

/// Meter values at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Signal time since activation, s.
    pub time_s: f64,
    /// Momentary loudness at input and output, LUFS.
    pub momentary_lufs: [Option<f64>; 2],
    /// Short-term loudness at input and output, LUFS.
    pub short_term_lufs: [Option<f64>; 2],
    /// Maximum true peak so far at input and output, over all channels, dBTP.
    pub true_peak_dbtp: [f64; 2],
    /// Current gain reduction of each stage, dB, by [`StageId::index`]; 0 for a stage without a meter.
    pub reduction_db: [f64; StageId::COUNT],
    /// Loudness-match gain and common headroom, dB.
    pub loudness_match_db: [f64; 2],
    /// Whether the voice is active.
    pub speech: bool,
    /// Level ledger; with every tenth reading.
    pub ledger: Option<Ledger>,
}

impl Reading {
    fn of<const C: usize>(strip: &Strip<C>, time_s: f64, with_ledger: bool) -> Self
    where
        [f32; C]: Frame,
    {
        let ends = [strip.input_loudness(), strip.output_loudness()];
        let peaks = [strip.input_true_peak(), strip.output_true_peak()];
        Self {
            time_s,
            momentary_lufs: ends.map(|meter| meter.momentary()),
            short_term_lufs: ends.map(|meter| meter.short_term()),
            true_peak_dbtp: peaks.map(|meter| meter.hold_dbtp().into_iter().fold(f64::NEG_INFINITY, f64::max)),
            reduction_db: std::array::from_fn(|n| strip.reduction(StageId::ALL[n]).map_or(0.0, |meter| meter.now_db())),
            loudness_match_db: strip.loudness_match_db(),
            speech: strip.voice_is_active(),
            ledger: if with_ledger { strip.ledger() } else { None },
        }
    }
}

/// Writing end of the ring buffer, for the audio thread.
#[derive(Debug)]
pub struct ReadingSender {
    producer: Producer<Reading>,
    watched: Arc<AtomicBool>,
    redraw: RedrawFlag,
    rate_hz: f64,
    frames: u64,
    next: u64,
    readings: u32,
}

impl ReadingSender {
    /// Sends a reading of the strip's meters after `frames` more frames, if one is due and an editor watches. Does not
    /// allocate, lock or wait.
    pub fn send<const C: usize>(&mut self, strip: &Strip<C>, frames: usize)
    where
        [f32; C]: Frame,
    {
        self.frames += frames as u64;
        if self.frames < self.next || !self.watched.load(Ordering::Relaxed) {
            return;
        }
        self.next = self.frames + (self.rate_hz / READINGS_PER_SECOND) as u64;
        let reading = Reading::of(strip, self.frames as f64 / self.rate_hz, self.readings.is_multiple_of(LEDGER_EVERY));
        self.readings = self.readings.wrapping_add(1);
        // If the ring buffer is full, the editor has not read for a while; the reading is dropped.
        let _ = self.producer.push(reading);
        self.redraw.request();
    }
}

/// Reading end of the ring buffer, for the main thread.
#[derive(Debug, Default)]
pub struct Meters {
    watched: Arc<AtomicBool>,
    /// Requests a redraw by the editor, without waiting.
    redraw: RedrawFlag,
    /// Sample rate of the strip, Hz, as `f64` bits; 0 before the first activation.
    rate_hz: AtomicU64,
    consumer: Mutex<Option<Consumer<Reading>>>,
}

impl Meters {
    /// New ring buffer for a strip at a sample rate; unread readings are dropped.
    #[must_use]
    pub fn open(&self, rate_hz: f64) -> ReadingSender {
        let (producer, consumer) = RingBuffer::new(CAPACITY);
        *self.consumer.lock().unwrap_or_else(PoisonError::into_inner) = Some(consumer);
        self.rate_hz.store(rate_hz.to_bits(), Ordering::Relaxed);
        let (watched, redraw) = (Arc::clone(&self.watched), self.redraw.clone());
        ReadingSender { producer, watched, redraw, rate_hz, frames: 0, next: 0, readings: 0 }
    }

    /// Current or last sample rate of the strip; `None` before the first activation.
    #[must_use]
    pub fn rate(&self) -> Option<SampleRate> {
        SampleRate::new(f64::from_bits(self.rate_hz.load(Ordering::Relaxed))).ok()
    }

    /// Flag that is set when a reading has been sent.
    #[must_use]
    pub fn redraw(&self) -> RedrawFlag {
        self.redraw.clone()
    }

    /// Starts or ends watching. Unread readings are dropped.
    pub fn watch(&self, on: bool) {
        self.take(|_| ());
        self.watched.store(on, Ordering::Relaxed);
    }

    /// Calls `each` with every reading since the last call, oldest first.
    pub fn take(&self, mut each: impl FnMut(Reading)) {
        let mut consumer = self.consumer.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(consumer) = &mut *consumer {
            while let Ok(reading) = consumer.pop() {
                each(reading);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use voicechain_core::{StripCoefs, StripSettings};

    #[test]
    fn a_watching_editor_gets_a_reading_every_ten_milliseconds() {
        let rate = SampleRate::new(48_000.0).unwrap();
        let mut settings = StripSettings::default();
        settings.trim.gain_db = 6.0;
        settings.compressor.on = false;
        let mut strip = Box::new(Strip::<2>::NEW);
        strip.set(&StripCoefs::design(&settings, rate).unwrap());
        let meters = Meters::default();
        let mut sender = meters.open(rate.hz());
        let mut run = |frames: usize| {
            for _ in 0..frames / 48 {
                // 1 kHz at -26 dBFS.
                let mut block: [[f32; 2]; 48] =
                    std::array::from_fn(|n| [0.05 * (n as f32 / 48.0 * std::f32::consts::TAU).sin(); 2]);
                strip.run(&mut block);
                sender.send(&strip, block.len());
            }
        };
        run(4_800);
        let mut seen = Vec::new();
        meters.take(|reading| seen.push(reading));
        assert!(seen.is_empty(), "no editor watches yet");
        meters.watch(true);
        run(96_000);
        meters.take(|reading| seen.push(reading));
        assert!((199..=201).contains(&seen.len()), "{}", seen.len());
        assert!(seen.windows(2).all(|pair| (pair[1].time_s - pair[0].time_s - 0.01).abs() < 1e-9));
        let last = seen.last().unwrap();
        let [input, output] = last.momentary_lufs.map(Option::unwrap);
        assert!((output - input - 6.0).abs() < 0.3, "{input} {output}");
        let ledger = seen.iter().rev().find_map(|reading| reading.ledger).unwrap();
        assert!((ledger.entries[0].lu - 6.0).abs() < 0.01, "{ledger:?}");
        // Without a reader the ring buffer fills up, and further readings are dropped.
        run(480_000);
        let mut count = 0;
        meters.take(|_| count += 1);
        assert_eq!(count, CAPACITY);
    }
}
