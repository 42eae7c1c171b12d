//! Frequency response of the strip's filters and equalisers, for the report page.

use voicechain_core::frame::Frame;
use voicechain_core::settings::{StageId, StripSettings};
use voicechain_core::strip::StripCoefs;

/// Response of the strip without its trims, (Hz, dB), from 20 Hz to 20 kHz or 0.45 times the sample rate.
pub(super) fn response<const C: usize>(coefs: &StripCoefs<C>) -> Vec<(f32, f32)>
where
    [f32; C]: Frame,
{
    let top = 20_000.0f64.min(0.45 * coefs.rate().hz());
    let points = 240;
    (0..=points)
        .map(|i| {
            let hz = 20.0 * (top / 20.0).powf(f64::from(i) / f64::from(points));
            (hz as f32, total_db(coefs, hz) as f32)
        })
        .collect()
}

fn total_db<const C: usize>(coefs: &StripCoefs<C>, hz: f64) -> f64
where
    [f32; C]: Frame,
{
    let trims: f64 = [StageId::Trim, StageId::Output].iter().map(|&s| coefs.stage_response(s, hz).db()).sum();
    coefs.response(hz).db() - trims
}

/// Active filters and EQ bands as points on the response, (Hz, dB).
pub(super) fn bands<const C: usize>(s: &StripSettings, coefs: &StripCoefs<C>) -> Vec<(f32, f32)>
where
    [f32; C]: Frame,
{
    let (c, t) = (&s.corrective_eq, &s.tone_eq);
    let all = [
        (s.high_pass.on, s.high_pass.frequency_hz),
        (c.on && c.bell_1_gain_db != 0.0, c.bell_1_frequency_hz),
        (c.on && c.bell_2_gain_db != 0.0, c.bell_2_frequency_hz),
        (c.on && c.bell_3_gain_db != 0.0, c.bell_3_frequency_hz),
        (c.on && c.bell_4_gain_db != 0.0, c.bell_4_frequency_hz),
        (t.on && t.low_shelf_gain_db != 0.0, t.low_shelf_frequency_hz),
        (t.on && t.bell_gain_db != 0.0, t.bell_frequency_hz),
        (t.on && t.high_shelf_gain_db != 0.0, t.high_shelf_frequency_hz),
    ];
    all.into_iter().filter(|(used, _)| *used).map(|(_, hz)| (hz as f32, total_db(coefs, hz) as f32)).collect()
}
