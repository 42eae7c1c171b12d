//! The ring of samples from the audio thread to a listener on a thread of its own.
//!
//! The audio thread only copies frames into a ring without locks; where the ring is full the frames that do not fit are left
//! out and counted, and the listener is told where, so that it can say how much of the voice it has heard.

use crate::threads::large_stack_thread;
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// The ring holds so many seconds.
const CAPACITY_S: f64 = 0.5;
/// How long the listener's thread rests when there is nothing to hear.
const POLL_INTERVAL: Duration = Duration::from_millis(10);
/// How many samples it takes at a time at most.
const MAX_SAMPLES: usize = 4_096;
/// How many losses there can be in what the ring holds; more are joined to one.
const MAX_DROPOUTS: usize = 256;

/// Something that hears a voice, on a thread of its own.
pub trait SampleSink: Send + 'static {
    /// A new beginning: rate in Hz, and the number of channels that are interleaved from now on.
    fn begin(&mut self, rate_hz: f64, channels: usize);
    /// Interleaved samples in order.
    fn push(&mut self, interleaved: &[f32]);
    /// So many frames in all could not be heard; the last of them between what was heard last and what is heard next.
    fn lost(&mut self, frames: u64);
    /// Nothing more is heard: somebody has ended listening.
    fn end(&mut self) {}
}

/// Frames that are missing in front of the frame `at`.
#[derive(Clone, Copy, Debug)]
struct Dropout {
    at: u64,
    frames: u64,
}

/// The listener's end.
#[derive(Debug)]
struct Receiver {
    consumer: Consumer<f32>,
    dropouts: Consumer<Dropout>,
    rate_hz: f64,
    channels: usize,
    /// Frames taken out of the ring.
    frames_read: u64,
    restarted: bool,
}

impl Receiver {
    /// Throws away what was not heard.
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
    /// How many times somebody has begun to listen.
    sessions: AtomicU32,
    /// Frames that were lost in this round.
    lost: AtomicU64,
    receiver: Mutex<Option<Receiver>>,
}

/// The audio thread's end.
#[derive(Debug)]
pub struct SampleSender {
    producer: Producer<f32>,
    dropouts: Producer<Dropout>,
    channels: usize,
    /// Frames put into the ring.
    sent: u64,
    /// Frames lost since then.
    missing: u64,
    session: u32,
    shared: Arc<Shared>,
}

impl SampleSender {
    /// Gives planar channels to the listener, if one listens. Does not allocate, lock or wait.
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
            // The listener has to know of the gap before it hears what follows.
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

/// The main thread's end: makes a ring when the plugin is activated, starts and stops listening.
#[derive(Debug, Default)]
pub struct SampleRing {
    shared: Arc<Shared>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl SampleRing {
    /// A new ring for a rate and a number of channels. Whoever listens begins anew.
    #[must_use]
    pub fn open(&self, rate_hz: f64, channels: usize) -> SampleSender {
        // A whole number of frames, so that none is torn where the ring closes.
        let (producer, consumer) = RingBuffer::new((CAPACITY_S * rate_hz) as usize * channels);
        let (dropouts_in, dropouts) = RingBuffer::new(MAX_DROPOUTS);
        let receiver = Receiver { consumer, dropouts, rate_hz, channels, frames_read: 0, restarted: true };
        let shared = Arc::clone(&self.shared);
        *shared.receiver.lock().unwrap_or_else(PoisonError::into_inner) = Some(receiver);
        let session = shared.sessions.load(Ordering::Relaxed);
        SampleSender { producer, dropouts: dropouts_in, channels, sent: 0, missing: 0, session, shared }
    }

    /// Begins to listen: the listener hears everything from now on, on a thread of its own. A listener before it is
    /// dismissed.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub fn listen<L: SampleSink>(&self, sink: Arc<Mutex<L>>) -> std::io::Result<()> {
        self.stop();
        let shared = Arc::clone(&self.shared);
        shared.lost.store(0, Ordering::Relaxed);
        if let Some(receiver) = &mut *shared.receiver.lock().unwrap_or_else(PoisonError::into_inner) {
            // What was left of an earlier listening is not this voice's beginning.
            receiver.skip();
            receiver.restarted = true;
        }
        shared.sessions.fetch_add(1, Ordering::Relaxed);
        shared.open.store(true, Ordering::Release);
        let thread = large_stack_thread("voice meter").spawn(move || {
            let mut lost = 0;
            loop {
                // Asked first: what was sent before the end is still heard.
                let open = shared.open.load(Ordering::Acquire);
                let heard = deliver_chunk(&shared, &sink, &mut lost);
                if !open && !heard {
                    break;
                }
                if !heard {
                    std::thread::park_timeout(POLL_INTERVAL);
                }
            }
            let mut sink = sink.lock().unwrap_or_else(PoisonError::into_inner);
            // What was lost at the very end has no sound after it that would tell.
            let all = shared.lost.load(Ordering::Relaxed);
            if all > lost {
                sink.lost(all);
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

    /// Ends listening: what was sent before is heard to its end.
    pub fn stop(&self) {
        self.shared.open.store(false, Ordering::Release);
        let thread = self.thread.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(thread) = thread {
            thread.thread().unpark();
            // A listener that panicked has ended too.
            let _ = thread.join();
        }
    }

    /// True while somebody listens.
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

/// One piece; false if there was none.
fn deliver_chunk<L: SampleSink>(shared: &Shared, sink: &Mutex<L>, lost: &mut u64) -> bool {
    let mut receiver = shared.receiver.lock().unwrap_or_else(PoisonError::into_inner);
    let Some(receiver) = &mut *receiver else { return false };
    let mut sink = sink.lock().unwrap_or_else(PoisonError::into_inner);
    if std::mem::take(&mut receiver.restarted) {
        sink.begin(receiver.rate_hz, receiver.channels);
    }
    // Looked at before the losses: whoever sees a frame sees the loss in front of it.
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
    struct Notes {
        begins: Vec<(f64, usize)>,
        samples: Vec<f32>,
        lost: u64,
        /// After so many samples so many frames were lost.
        dropouts: Vec<(usize, u64)>,
        ends: usize,
    }

    impl SampleSink for Notes {
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
    fn every_frame_is_heard_in_order_or_counted_where_it_is_missing() {
        let ring = SampleRing::default();
        let mut sender = ring.open(8_000.0, 2);
        send(&mut sender, 0, 100);
        let notes = Arc::new(Mutex::new(Notes::default()));
        ring.listen(Arc::clone(&notes)).unwrap();
        assert!(ring.is_listening());
        let mut from = 1_000;
        for _ in 0..500 {
            send(&mut sender, from, 33);
            from += 33;
        }
        // More than the ring holds can never be sent at once.
        send(&mut sender, from, 5_000);
        while notes.lock().unwrap().samples.is_empty() {
            std::thread::yield_now();
        }
        // Heard before the end: the ring is empty again some time.
        let last = from + 5_000;
        loop {
            send(&mut sender, last, 1);
            if notes.lock().unwrap().samples.last() == Some(&-(last as f32)) {
                break;
            }
            std::thread::yield_now();
        }
        ring.stop();
        send(&mut sender, 60_000, 10);
        let notes = notes.lock().unwrap();
        assert_eq!((notes.begins.as_slice(), notes.ends), ([(8_000.0, 2)].as_slice(), 1));
        assert_eq!(notes.samples[..2], [1_000.0, -1_000.0]);
        assert!(notes.samples.chunks(2).all(|frame| frame[1] == -frame[0]));
        // Where a frame does not follow the one before it, exactly what is missing was counted there.
        let heard: Vec<f32> = notes.samples.chunks(2).map(|frame| frame[0]).filter(|&x| x < last as f32).collect();
        for (k, pair) in heard.windows(2).enumerate() {
            let missing: u64 =
                notes.dropouts.iter().filter(|(at, _)| *at == 2 * (k + 1)).map(|(_, frames)| frames).sum();
            assert_eq!(pair[1] - pair[0], 1.0 + missing as f32, "after frame {k}");
        }
        assert!(notes.lost >= 1_000, "a block of 5 000 frames in a ring of 4 000");
    }

    #[test]
    fn what_is_lost_at_the_end_is_counted_too() {
        let ring = SampleRing::default();
        let mut sender = ring.open(8_000.0, 2);
        for round in 1..3 {
            let notes = Arc::new(Mutex::new(Notes::default()));
            ring.listen(Arc::clone(&notes)).unwrap();
            // The listener is held up: it hears nothing of all this until the end.
            let held = notes.lock().unwrap();
            send(&mut sender, 0, 3_000);
            send(&mut sender, 3_000, 3_000);
            drop(held);
            ring.stop();
            let notes = notes.lock().unwrap();
            assert_eq!(notes.samples.len() as u64 / 2 + notes.lost, 6_000, "round {round}");
            assert_eq!(notes.lost, 2_000, "round {round}");
        }
    }

    #[test]
    fn a_new_activation_is_a_new_beginning() {
        let ring = SampleRing::default();
        let notes = Arc::new(Mutex::new(Notes::default()));
        let mut sender = ring.open(48_000.0, 1);
        ring.listen(Arc::clone(&notes)).unwrap();
        sender.send(&[&mut [1.0; 10]]);
        while notes.lock().unwrap().samples.len() < 10 {
            std::thread::yield_now();
        }
        let mut sender = ring.open(96_000.0, 2);
        sender.send(&[&mut [1.0; 10], &mut [2.0; 10]]);
        ring.stop();
        let notes = notes.lock().unwrap();
        assert_eq!(notes.begins, [(48_000.0, 1), (96_000.0, 2)]);
        assert_eq!(notes.samples.len(), 30);
    }
}
