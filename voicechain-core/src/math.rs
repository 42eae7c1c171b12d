//! Decibels to and from linear gain, exactly.

/// Linear gain of a level in dB: `10^(db/20)`; minus infinity gives 0.
#[must_use]
pub fn from_db(db: f64) -> f64 {
    libm::exp10(db / 20.0)
}

/// Level in dB of a linear gain: `20 log10(gain)`; 0 gives minus infinity.
#[must_use]
pub fn to_db(gain: f64) -> f64 {
    20.0 * libm::log10(gain)
}

/// Level in dB of a power ratio: `10 log10(power)`; 0 gives minus infinity.
#[must_use]
pub fn power_to_db(power: f64) -> f64 {
    10.0 * libm::log10(power)
}
