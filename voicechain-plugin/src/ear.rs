//! The way of the sound from the audio thread to a listener on a thread of its own.
//!
//! The audio thread only copies frames into a ring without locks; where the ring is full the whole block is left out and
//! counted, and the listener is told, so that it can say how much of the voice it has heard.

use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

/// The ring holds so many seconds.
const SECONDS: f64 = 0.5;
/// How long the listener's thread rests when there is nothing to hear.
const REST: Duration = Duration::from_millis(10);
/// How many samples it takes at a time at most.
const PIECE: usize = 4_096;

/// Something that hears a voice, on a thread of its own.
pub trait Listener: Send + 'static {
    /// A new beginning: rate in Hz, and the number of channels that are interleaved from now on.
    fn begin(&mut self, rate_hz: f64, channels: usize);
    /// Interleaved samples in order.
    fn hear(&mut self, interleaved: &[f32]);
    /// So many frames in all could not be heard.
    fn lost(&mut self, frames: u64);
}

#[derive(Debug)]
struct Line {
    consumer: Consumer<f32>,
    rate_hz: f64,
    channels: usize,
    fresh: bool,
}

#[derive(Debug, Default)]
struct Shared {
    open: AtomicBool,
    lost: AtomicU64,
    line: Mutex<Option<Line>>,
}

/// The audio thread's end.
#[derive(Debug)]
pub struct Mouth {
    producer: Producer<f32>,
    channels: usize,
    shared: Arc<Shared>,
}

impl Mouth {
    /// Gives planar channels to the listener, if one listens. Does not allocate, lock or wait.
    pub fn say(&mut self, channels: &[&mut [f32]]) {
        if !self.shared.open.load(Ordering::Acquire) {
            return;
        }
        let frames = channels.iter().map(|channel| channel.len()).min().unwrap_or(0);
        let count = frames * self.channels;
        match self.producer.write_chunk(count) {
            Ok(mut chunk) if channels.len() >= self.channels => {
                let (first, second) = chunk.as_mut_slices();
                for (at, sample) in first.iter_mut().chain(second).enumerate() {
                    *sample = channels[at % self.channels][at / self.channels];
                }
                chunk.commit_all();
            }
            _ => {
                self.shared.lost.fetch_add(frames as u64, Ordering::Relaxed);
            }
        }
    }
}

/// The main thread's end: opens the way when the plugin is activated, starts and stops listening.
#[derive(Debug, Default)]
pub struct Ear {
    shared: Arc<Shared>,
    thread: Mutex<Option<JoinHandle<()>>>,
}

impl Ear {
    /// A new way for a rate and a number of channels. Whoever listens begins anew.
    #[must_use]
    pub fn open(&self, rate_hz: f64, channels: usize) -> Mouth {
        let (producer, consumer) = RingBuffer::new((SECONDS * rate_hz) as usize * channels);
        let line = Line { consumer, rate_hz, channels, fresh: true };
        *self.shared.line.lock().unwrap_or_else(PoisonError::into_inner) = Some(line);
        Mouth { producer, channels, shared: Arc::clone(&self.shared) }
    }

    /// Begins to listen: the listener hears everything from now on, on a thread of its own. A listener before it is
    /// dismissed.
    ///
    /// # Errors
    /// When the system has no thread left.
    pub fn listen<L: Listener>(&self, listener: Arc<Mutex<L>>) -> std::io::Result<()> {
        self.stop();
        let shared = Arc::clone(&self.shared);
        shared.lost.store(0, Ordering::Relaxed);
        if let Some(line) = &mut *shared.line.lock().unwrap_or_else(PoisonError::into_inner) {
            // What was left of an earlier listening is not this voice's beginning.
            let left = line.consumer.slots();
            if let Ok(chunk) = line.consumer.read_chunk(left) {
                chunk.commit_all();
            }
            line.fresh = true;
        }
        shared.open.store(true, Ordering::Release);
        let thread = std::thread::Builder::new().name("voicechain ear".into()).spawn(move || {
            let mut lost = 0;
            loop {
                // Asked first: what was said before the end is still heard.
                let open = shared.open.load(Ordering::Acquire);
                let heard = hear(&shared, &listener, &mut lost);
                if !open && !heard {
                    return;
                }
                if !heard {
                    std::thread::park_timeout(REST);
                }
            }
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

    /// Ends listening: what was said before is heard to its end.
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

impl Drop for Ear {
    fn drop(&mut self) {
        self.stop();
    }
}

/// One piece; false if there was none.
fn hear<L: Listener>(shared: &Shared, listener: &Mutex<L>, lost: &mut u64) -> bool {
    let mut line = shared.line.lock().unwrap_or_else(PoisonError::into_inner);
    let Some(line) = &mut *line else { return false };
    let mut listener = listener.lock().unwrap_or_else(PoisonError::into_inner);
    if std::mem::take(&mut line.fresh) {
        listener.begin(line.rate_hz, line.channels);
    }
    let now = shared.lost.load(Ordering::Relaxed);
    if now != *lost {
        *lost = now;
        listener.lost(now);
    }
    let count = line.consumer.slots().min(PIECE) / line.channels * line.channels;
    let Ok(chunk) = line.consumer.read_chunk(count) else { return false };
    let (first, second) = chunk.as_slices();
    listener.hear(first);
    listener.hear(second);
    chunk.commit_all();
    count > 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Default)]
    struct Notes {
        begins: Vec<(f64, usize)>,
        samples: Vec<f32>,
        lost: u64,
    }

    impl Listener for Notes {
        fn begin(&mut self, rate_hz: f64, channels: usize) {
            self.begins.push((rate_hz, channels));
        }
        fn hear(&mut self, interleaved: &[f32]) {
            self.samples.extend(interleaved);
        }
        fn lost(&mut self, frames: u64) {
            self.lost = frames;
        }
    }

    #[test]
    fn every_frame_is_heard_in_order_or_counted() {
        let ear = Ear::default();
        let mut mouth = ear.open(8_000.0, 2);
        let mut say = |from: usize, frames: usize| {
            let mut left: Vec<f32> = (from..from + frames).map(|n| n as f32).collect();
            let mut right: Vec<f32> = left.iter().map(|x| -x).collect();
            mouth.say(&[&mut left, &mut right]);
        };
        say(0, 100);
        let notes = Arc::new(Mutex::new(Notes::default()));
        ear.listen(Arc::clone(&notes)).unwrap();
        assert!(ear.is_listening());
        for block in 0..500 {
            say(1_000 + 33 * block, 33);
        }
        // More than the ring holds can never be said at once.
        say(50_000, 5_000);
        ear.stop();
        say(60_000, 10);
        let notes = notes.lock().unwrap();
        assert_eq!(notes.begins, [(8_000.0, 2)]);
        let frames = notes.samples.len() / 2;
        assert_eq!(frames as u64 + notes.lost, 33 * 500 + 5_000);
        assert!(notes.lost >= 5_000);
        assert!(notes.samples.chunks(2).all(|frame| frame[1] == -frame[0] && frame[0] < 50_000.0));
        assert!(notes.samples.chunks(2).zip(notes.samples.chunks(2).skip(1)).all(|(a, b)| a[0] < b[0]));
        assert_eq!(notes.samples[0], 1_000.0);
    }

    #[test]
    fn a_new_activation_is_a_new_beginning() {
        let ear = Ear::default();
        let notes = Arc::new(Mutex::new(Notes::default()));
        let mut mouth = ear.open(48_000.0, 1);
        ear.listen(Arc::clone(&notes)).unwrap();
        mouth.say(&[&mut [1.0; 10]]);
        while notes.lock().unwrap().samples.len() < 10 {
            std::thread::yield_now();
        }
        let mut mouth = ear.open(96_000.0, 2);
        mouth.say(&[&mut [1.0; 10], &mut [2.0; 10]]);
        ear.stop();
        let notes = notes.lock().unwrap();
        assert_eq!(notes.begins, [(48_000.0, 1), (96_000.0, 2)]);
        assert_eq!(notes.samples.len(), 30);
    }
}
