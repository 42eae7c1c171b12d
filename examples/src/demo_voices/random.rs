//! Repeatable random numbers.

/// Repeatable random generator (SplitMix64: Steele, Lea and Flood 2014).
pub(super) struct Random {
    state: u64,
}

impl Random {
    pub(super) fn new(seed: u64) -> Self {
        Self { state: seed.wrapping_mul(0xD134_2543_DE82_EF95) }
    }

    fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform between 0 and 1.
    pub(super) fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// White noise of variance 1: the sum of four uniform numbers, which is cheap and approximately normal with short
    /// tails.
    pub(super) fn white(&mut self) -> f64 {
        let bits = self.bits();
        let sum: i64 = (0..4).map(|k| i64::from((bits >> (16 * k)) as u16 as i16)).sum();
        // A uniform 16-bit number has a standard deviation of 65536/√12, the sum of four twice that.
        sum as f64 / 37_837.23
    }

    pub(super) fn normal(&mut self) -> f64 {
        self.white()
    }
}
