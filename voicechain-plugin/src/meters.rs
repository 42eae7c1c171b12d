//! What the strip's meters say, on its way from the audio thread to an editor.
//!
//! The audio thread puts a reading into a ring without locks every 10 ms (or once per block, if that is longer), while
//! somebody watches; readings for which there is no room are left out.

use crate::redraw::RedrawFlag;
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use voicechain_core::frame::Frame;
use voicechain_core::settings::StageId;
use voicechain_core::strip::Ledger;
use voicechain_core::{SampleRate, Strip};

/// Readings that the ring holds: some seconds.
const CAPACITY: usize = 256;
/// Readings per second.
const READINGS_PER_SECOND: f64 = 100.0;
/// The ledger, which has to go through its blocks, is read with every so manyth reading.
const LEDGER_EVERY: u32 = 10;

/// What the meters say at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Seconds of sound since activation.
    pub time_s: f64,
    /// Momentary loudness at input and output, LUFS.
    pub momentary_lufs: [Option<f64>; 2],
    /// Short-term loudness at input and output, LUFS.
    pub short_term_lufs: [Option<f64>; 2],
    /// Largest true peak so far at input and output, of all channels, dBTP.
    pub true_peak_dbtp: [f64; 2],
    /// What each stage takes away now, dB, by [`StageId::index`]; 0 for one without a meter.
    pub reduction_db: [f64; StageId::COUNT],
    /// The loudness match and the common headroom, dB.
    pub loudness_match_db: [f64; 2],
    /// True while somebody speaks.
    pub speech: bool,
    /// Samples that input sanitising replaced.
    pub sanitised_samples: u64,
    /// The level ledger; now and then.
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
            sanitised_samples: strip.sanitised_samples(),
            ledger: if with_ledger { strip.ledger() } else { None },
        }
    }
}

/// The audio thread's end.
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
    /// Sends what the strip's meters say after so many more frames, if it is time and somebody watches. Does not
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
        // No room: nobody has looked for a while, and what is there will be passed over.
        let _ = self.producer.push(reading);
        self.redraw.request();
    }
}

/// The main thread's end.
#[derive(Debug, Default)]
pub struct Meters {
    watched: Arc<AtomicBool>,
    /// Tells an editor that there is something new: one flag, set without waiting.
    redraw: RedrawFlag,
    /// Rate of the strip, Hz, as bits; 0 before it was ever active.
    rate_hz: AtomicU64,
    consumer: Mutex<Option<Consumer<Reading>>>,
}

impl Meters {
    /// A new ring for a strip at a rate; what was not read of the former one is dropped.
    #[must_use]
    pub fn open(&self, rate_hz: f64) -> ReadingSender {
        let (producer, consumer) = RingBuffer::new(CAPACITY);
        *self.consumer.lock().unwrap_or_else(PoisonError::into_inner) = Some(consumer);
        self.rate_hz.store(rate_hz.to_bits(), Ordering::Relaxed);
        let (watched, redraw) = (Arc::clone(&self.watched), self.redraw.clone());
        ReadingSender { producer, watched, redraw, rate_hz, frames: 0, next: 0, readings: 0 }
    }

    /// The rate that the strip runs at, or ran at last; `None` before it was ever active.
    #[must_use]
    pub fn rate(&self) -> Option<SampleRate> {
        SampleRate::new(f64::from_bits(self.rate_hz.load(Ordering::Relaxed))).ok()
    }

    /// What tells an editor that there is something new.
    #[must_use]
    pub fn redraw(&self) -> RedrawFlag {
        self.redraw.clone()
    }

    /// Begins or ends watching. Readings from before are dropped.
    pub fn watch(&self, on: bool) {
        self.take(|_| ());
        self.watched.store(on, Ordering::Relaxed);
    }

    /// Gives every reading since the last call, oldest first.
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
    fn whoever_watches_sees_a_reading_every_ten_milliseconds() {
        let rate = SampleRate::new(48_000.0).unwrap();
        let mut settings = StripSettings::default();
        settings.trim.gain_db = 6.0;
        settings.compressor.on = false;
        let mut strip = Strip::<2>::new(&StripCoefs::design(&settings, rate).unwrap());
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
        assert!(seen.is_empty(), "nobody has watched");
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
        // Nobody looks: the ring is full, and nothing happens but that.
        run(480_000);
        let mut count = 0;
        meters.take(|_| count += 1);
        assert_eq!(count, CAPACITY);
    }
}
