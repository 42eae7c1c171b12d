//! Cutting samples into pieces of equal time, at any rate.

/// A clock that ticks so many times a second; tick `k` ends with sample `k rate / per_second`, rounded down, counted from
/// the start, so that any split of the samples gives the same pieces.
#[derive(Clone, Debug)]
pub(crate) struct Ticks {
    samples_per_tick: f64,
    ticks: u64,
    end: u64,
    samples: u64,
    start: u64,
}

impl Ticks {
    pub(crate) fn new(rate_hz: f64, per_second: f64) -> Self {
        let samples_per_tick = rate_hz / per_second;
        Self { samples_per_tick, ticks: 1, end: samples_per_tick as u64, samples: 0, start: 0 }
    }

    /// Calls `part` with every stretch that lies inside one tick, and with the length of the tick, in samples, when the
    /// stretch completes it.
    pub(crate) fn feed<'a>(&mut self, samples: &'a [f32], mut part: impl FnMut(&'a [f32], Option<f64>)) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min((self.end - self.samples) as usize));
            self.samples += now.len() as u64;
            rest = later;
            if self.samples == self.end {
                let length = (self.end - self.start) as f64;
                self.ticks += 1;
                self.start = self.end;
                self.end = (self.ticks as f64 * self.samples_per_tick) as u64;
                part(now, Some(length));
            } else {
                part(now, None);
            }
        }
    }
}
