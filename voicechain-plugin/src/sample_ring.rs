//! Ring buffer that carries samples from the audio thread to a sink on a thread of its own.
//!
//! The audio thread copies frames into a lock-free ring buffer. Frames that do not fit are dropped and counted. The
//! sink is told where frames are missing, so it can state the captured fraction of the signal.

use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// Capacity of the ring buffer, s.
const CAPACITY_S: f64 = 0.5;
/// Interval at which the sink's thread polls an empty ring buffer.
const POLL_INTERVAL: Duration = Duration::from_millis(10);
/// Maximum number of samples per call of [`SampleSink::push`].
const MAX_SAMPLES: usize = 4_096;
/// Maximum number of dropouts within the ring buffer; further ones are merged.
const MAX_DROPOUTS: usize = 256;

/// Receiver of samples, on a thread of its own.
pub trait SampleSink: Send + 'static {
    /// Starts a signal: sample rate in Hz and number of interleaved channels.
    fn begin(&mut self, rate_hz: f64, channels: usize);
    /// Delivers interleaved samples in order.
    fn push(&mut self, interleaved: &[f32]);
    /// Reports a gap between the previous and the next samples; `frames` is the total of dropped frames so far.
    fn lost(&mut self, frames: u64);
    /// Ends the signal: no further samples follow.
    fn end(&mut self) {}
}

/// Number of frames missing before frame `at`.
#[derive(Clone, Copy, Debug)]
struct Dropout {
    at: u64,
    frames: u64,
}

/// Reading end of the ring buffer.
#[derive(Debug)]
struct Receiver {
    consumer: Consumer<f32>,
    dropouts: Consumer<Dropout>,
    rate_hz: f64,
    channels: usize,
    /// Frames read from the ring buffer.
    frames_read: u64,
    restarted: bool,
}

impl Receiver {
    /// Discards all unread frames.
    fn skip(&mut self) {
        let left = self.consumer.slots() / self.channels * self.channels;
        if let Ok(chunk) = self.consumer.read_chunk(left) {
            chunk.commit_all();
            self.frames_read += (left / self.channels) as u64;
        }
        while self.dropouts.pop().is_ok() {}
    }
}

#[derive(Debug, Default)]
struct Shared {
    open: AtomicBool,
    /// Number of sessions started so far.
    sessions: AtomicU32,
    /// Frames lost in this session.
    lost: AtomicU64,
    receiver: Mutex<Option<Receiver>>,
}

/// Writing end of the ring buffer, for the audio thread.
#[derive(Debug)]
pub struct SampleSender {
    producer: Producer<f32>,
    dropouts: Producer<Dropout>,
    channels: usize,
    /// Frames written to the ring buffer.
    sent: u64,
    /// Frames lost since the last frame written.
    missing: u64,
    session: u32,
    shared: Arc<Shared>,
}

impl SampleSender {
    /// Sends planar channels to the sink, if a session is open. Does not allocate, lock or wait.
    pub fn send(&mut self, channels: &[&mut [f32]]) {
        if !self.shared.open.load(Ordering::Acquire) {
            return;
        }
        let session = self.shared.sessions.load(Ordering::Relaxed);
        if session != self.session {
            (self.session, self.missing) = (session, 0);
        }
        let frames = channels.iter().map(|channel| channel.len()).min().unwrap_or(0);
        let fitting = if channels.len() < self.channels { 0 } else { self.producer.slots() / self.channels };
        let mut count = frames.min(fitting);
        if count > 0 && self.missing > 0 {
            // The dropout must be visible before the frames that follow it.
            match self.dropouts.push(Dropout { at: self.sent, frames: self.missing }) {
                Ok(()) => self.missing = 0,
                Err(_) => count = 0,
            }
        }
        if let Ok(mut chunk) = self.producer.write_chunk(count * self.channels) {
            let (first, second) = chunk.as_mut_slices();
            for (at, sample) in first.iter_mut().chain(second).enumerate() {
                *sample = channels[at % self.channels][at / self.channels];
            }
            chunk.commit_all();
            self.sent += count as u64;
        }
        if count < frames {
            let lost = (frames - count) as u64;
            self.missing += lost;
            self.shared.lost.fetch_add(lost, Ordering::Relaxed);
        }
    }
}

/// Control of the ring buffer by the main thread: creates it on activation, starts and stops sessions.
#[derive(Debug, Default)]
pub struct SampleRing {
    shared: Arc<Shared>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl SampleRing {
    /// New ring buffer for a sample rate and a number of channels. The sink of an open session starts a new signal.
    #[must_use]
    pub fn open(&self, rate_hz: f64, channels: usize) -> SampleSender {
        // A whole number of frames, so that no frame is split at the wrap-around.
        let (producer, consumer) = RingBuffer::new((CAPACITY_S * rate_hz) as usize * channels);
        let (dropouts_in, dropouts) = RingBuffer::new(MAX_DROPOUTS);
        let receiver = Receiver { consumer, dropouts, rate_hz, channels, frames_read: 0, restarted: true };
        let shared = Arc::clone(&self.shared);
        *shared.receiver.lock().unwrap_or_else(PoisonError::into_inner) = Some(receiver);
        let session = shared.sessions.load(Ordering::Relaxed);
        SampleSender { producer, dropouts: dropouts_in, channels, sent: 0, missing: 0, session, shared }
    }

    /// Starts a session: `sink` receives the signal from now on, on a thread of its own. A previous session ends.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub fn listen<L: SampleSink>(&self, sink: Arc<Mutex<L>>) -> std::io::Result<()> {
        self.stop();
        let shared = Arc::clone(&self.shared);
        shared.lost.store(0, Ordering::Relaxed);
        if let Some(receiver) = &mut *shared.receiver.lock().unwrap_or_else(PoisonError::into_inner) {
            // Frames left over from an earlier session do not belong to this one.
            receiver.skip();
            receiver.restarted = true;
        }
        shared.sessions.fetch_add(1, Ordering::Relaxed);
        shared.open.store(true, Ordering::Release);
        let thread = std::thread::Builder::new().name("voice meter".into()).spawn(move || {
            let mut lost = 0;
            loop {
                // Read first, so that frames sent before the end are still delivered.
                let open = shared.open.load(Ordering::Acquire);
                let delivered = deliver_chunk(&shared, &sink, &mut lost);
                if !open && !delivered {
                    break;
                }
                if !delivered {
                    std::thread::park_timeout(POLL_INTERVAL);
                }
            }
            let mut sink = sink.lock().unwrap_or_else(PoisonError::into_inner);
            // Frames lost at the very end: no frame follows that would report them.
            let total = shared.lost.load(Ordering::Relaxed);
            if total > lost {
                sink.lost(total);
            }
            sink.end();
        });
        match thread {
            Ok(thread) => {
                *self.thread.lock().unwrap_or_else(PoisonError::into_inner) = Some(thread);
                Ok(())
            }
            Err(error) => {
                self.shared.open.store(false, Ordering::Release);
                Err(error)
            }
        }
    }

    /// Ends the session; all frames sent before are still delivered.
    pub fn stop(&self) {
        self.shared.open.store(false, Ordering::Release);
        let thread = self.thread.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(thread) = thread {
            thread.thread().unpark();
            // A sink that panicked has ended too.
            let _ = thread.join();
        }
    }

    /// Whether a session is open.
    #[must_use]
    pub fn is_listening(&self) -> bool {
        self.shared.open.load(Ordering::Acquire)
    }
}

impl Drop for SampleRing {
    fn drop(&mut self) {
        self.stop();
    }
}

/// Delivers one chunk or one dropout; returns false if nothing was pending.
fn deliver_chunk<L: SampleSink>(shared: &Shared, sink: &Mutex<L>, lost: &mut u64) -> bool {
    let mut receiver = shared.receiver.lock().unwrap_or_else(PoisonError::into_inner);
    let Some(receiver) = &mut *receiver else { return false };
    let mut sink = sink.lock().unwrap_or_else(PoisonError::into_inner);
    if std::mem::take(&mut receiver.restarted) {
        sink.begin(receiver.rate_hz, receiver.channels);
    }
    // Read before the dropouts: if a frame is visible, so is the dropout before it.
    let mut frames = receiver.consumer.slots().min(MAX_SAMPLES) / receiver.channels;
    if let Ok(&Dropout { at, frames: missing }) = receiver.dropouts.peek() {
        if at > receiver.frames_read {
            frames = frames.min((at - receiver.frames_read) as usize);
        } else {
            let _ = receiver.dropouts.pop();
            *lost += missing;
            sink.lost(*lost);
            return true;
        }
    }
    let Ok(chunk) = receiver.consumer.read_chunk(frames * receiver.channels) else { return false };
    let (first, second) = chunk.as_slices();
    sink.push(first);
    sink.push(second);
    chunk.commit_all();
    receiver.frames_read += frames as u64;
    frames > 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default)]
    struct RecordingSink {
        begins: Vec<(f64, usize)>,
        samples: Vec<f32>,
        lost: u64,
        /// Number of samples before each dropout, and frames lost in it.
        dropouts: Vec<(usize, u64)>,
        ends: usize,
    }

    impl SampleSink for RecordingSink {
        fn begin(&mut self, rate_hz: f64, channels: usize) {
            self.begins.push((rate_hz, channels));
        }
        fn push(&mut self, interleaved: &[f32]) {
            self.samples.extend(interleaved);
        }
        fn lost(&mut self, frames: u64) {
            self.dropouts.push((self.samples.len(), frames - self.lost));
            self.lost = frames;
        }
        fn end(&mut self) {
            self.ends += 1;
        }
    }

    fn send(sender: &mut SampleSender, from: usize, frames: usize) {
        let mut left: Vec<f32> = (from..from + frames).map(|n| n as f32).collect();
        let mut right: Vec<f32> = left.iter().map(|x| -x).collect();
        sender.send(&[&mut left, &mut right]);
    }

    #[test]
    fn every_frame_is_delivered_in_order_or_counted_where_it_is_missing() {
        let ring = SampleRing::default();
        let mut sender = ring.open(8_000.0, 2);
        send(&mut sender, 0, 100);
        let recorded = Arc::new(Mutex::new(RecordingSink::default()));
        ring.listen(Arc::clone(&recorded)).unwrap();
        assert!(ring.is_listening());
        let mut from = 1_000;
        for _ in 0..500 {
            send(&mut sender, from, 33);
            from += 33;
        }
        // A block longer than the ring buffer cannot be sent whole.
        send(&mut sender, from, 5_000);
        while recorded.lock().unwrap().samples.is_empty() {
            std::thread::yield_now();
        }
        // Repeat until the ring buffer has room again and the last frame arrives.
        let last = from + 5_000;
        loop {
            send(&mut sender, last, 1);
            if recorded.lock().unwrap().samples.last() == Some(&-(last as f32)) {
                break;
            }
            std::thread::yield_now();
        }
        ring.stop();
        send(&mut sender, 60_000, 10);
        let recorded = recorded.lock().unwrap();
        assert_eq!((recorded.begins.as_slice(), recorded.ends), ([(8_000.0, 2)].as_slice(), 1));
        assert_eq!(recorded.samples[..2], [1_000.0, -1_000.0]);
        assert!(recorded.samples.chunks(2).all(|frame| frame[1] == -frame[0]));
        // At every discontinuity, exactly the missing frames were counted.
        let values: Vec<f32> = recorded.samples.chunks(2).map(|frame| frame[0]).filter(|&x| x < last as f32).collect();
        for (k, pair) in values.windows(2).enumerate() {
            let missing: u64 =
                recorded.dropouts.iter().filter(|(at, _)| *at == 2 * (k + 1)).map(|(_, frames)| frames).sum();
            assert_eq!(pair[1] - pair[0], 1.0 + missing as f32, "after frame {k}");
        }
        assert!(recorded.lost >= 1_000, "a block of 5 000 frames into a ring buffer of 4 000");
    }

    #[test]
    fn frames_lost_at_the_end_are_counted() {
        let ring = SampleRing::default();
        let mut sender = ring.open(8_000.0, 2);
        for round in 1..3 {
            let recorded = Arc::new(Mutex::new(RecordingSink::default()));
            ring.listen(Arc::clone(&recorded)).unwrap();
            // The sink is locked and receives nothing until the end.
            let held = recorded.lock().unwrap();
            send(&mut sender, 0, 3_000);
            send(&mut sender, 3_000, 3_000);
            drop(held);
            ring.stop();
            let recorded = recorded.lock().unwrap();
            assert_eq!(recorded.samples.len() as u64 / 2 + recorded.lost, 6_000, "round {round}");
            assert_eq!(recorded.lost, 2_000, "round {round}");
        }
    }

    #[test]
    fn a_new_activation_starts_a_new_signal() {
        let ring = SampleRing::default();
        let recorded = Arc::new(Mutex::new(RecordingSink::default()));
        let mut sender = ring.open(48_000.0, 1);
        ring.listen(Arc::clone(&recorded)).unwrap();
        sender.send(&[&mut [1.0; 10]]);
        while recorded.lock().unwrap().samples.len() < 10 {
            std::thread::yield_now();
        }
        let mut sender = ring.open(96_000.0, 2);
        sender.send(&[&mut [1.0; 10], &mut [2.0; 10]]);
        ring.stop();
        let recorded = recorded.lock().unwrap();
        assert_eq!(recorded.begins, [(48_000.0, 1), (96_000.0, 2)]);
        assert_eq!(recorded.samples.len(), 30);
    }
}
