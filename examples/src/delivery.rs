//! Delivery specification: target loudness, true-peak ceiling, sample rate and sample format.

use crate::error::{JobError, JobErrorKind};
use crate::wav_file::WavFormat;
use std::ops::RangeInclusive;

/// Published delivery target.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PublishedTarget {
    /// Name on the command line.
    pub name: &'static str,
    /// Title of the document.
    pub document: &'static str,
    /// Integrated loudness, LUFS.
    pub integrated_lufs: f64,
    /// True-peak ceiling, dBTP.
    pub ceiling_dbtp: f64,
    /// Permitted deviation of the loudness, LU.
    pub tolerance_lu: f64,
}

/// Published targets. Targets change: the current written specification of the destination applies.
pub const PUBLISHED_TARGETS: [PublishedTarget; 3] = [
    // EBU R 128 v5 (2023), items i and m.
    PublishedTarget {
        name: "ebu-r128",
        document: "EBU R 128 (2023)",
        integrated_lufs: -23.0,
        ceiling_dbtp: -1.0,
        tolerance_lu: 0.2,
    },
    // ATSC A/85:2013, section 6 ("approximately 2 dB").
    PublishedTarget {
        name: "atsc-a85",
        document: "ATSC A/85:2013",
        integrated_lufs: -24.0,
        ceiling_dbtp: -2.0,
        tolerance_lu: 2.0,
    },
    // AES77-2023, speech (via trade articles).
    PublishedTarget {
        name: "aes77-speech",
        document: "AES77-2023, speech",
        integrated_lufs: -18.0,
        ceiling_dbtp: -1.0,
        tolerance_lu: 0.5,
    },
];

/// The published target with this name.
pub fn published_target(name: &str) -> Result<PublishedTarget, JobError> {
    PUBLISHED_TARGETS.into_iter().find(|t| t.name == name).ok_or_else(|| {
        let names: Vec<_> = PUBLISHED_TARGETS.iter().map(|t| t.name).collect();
        JobError::new(
            JobErrorKind::Usage,
            format!("unknown target '{name}'"),
            format!("use one of {}", names.join(", ")),
        )
    })
}

/// Permitted target loudness, LUFS.
pub const LOUDNESS_RANGE_LUFS: RangeInclusive<f64> = -40.0..=-8.0;

/// Specification of the delivered mix.
#[derive(Clone, Debug, PartialEq)]
pub struct DeliverySpec {
    /// Integrated loudness of the mix, LUFS, within [`LOUDNESS_RANGE_LUFS`].
    pub integrated_lufs: f64,
    /// True-peak ceiling, dBTP, from -9 to 0.
    pub ceiling_dbtp: f64,
    /// Deviation of the loudness within which the target counts as met, LU.
    pub tolerance_lu: f64,
    /// Document of the published target, if one was chosen.
    pub document: Option<String>,
    /// Sample rate, 44 100 or 48 000 Hz.
    pub rate_hz: u32,
    /// Sample format of the files.
    pub format: WavFormat,
}

impl Default for DeliverySpec {
    /// -16 LUFS in stereo, -1 dBTP, 48 kHz, 24 bit.
    fn default() -> Self {
        Self {
            integrated_lufs: -16.0,
            ceiling_dbtp: -1.0,
            tolerance_lu: 0.2,
            document: None,
            rate_hz: 48_000,
            format: WavFormat::Int24,
        }
    }
}

impl DeliverySpec {
    /// Checks that every value is in range.
    ///
    /// # Errors
    /// The first value out of range, with the permitted range.
    pub fn check(&self) -> Result<(), JobError> {
        let refuse = |what: String, advice: &str| Err(JobError::new(JobErrorKind::Usage, what, advice));
        if !LOUDNESS_RANGE_LUFS.contains(&self.integrated_lufs) {
            return refuse(format!("loudness {} LUFS is out of range", self.integrated_lufs), "use -40 to -8 LUFS");
        }
        if !(-9.0..=0.0).contains(&self.ceiling_dbtp) {
            return refuse(format!("ceiling {} dBTP is out of range", self.ceiling_dbtp), "use -9 to 0 dBTP");
        }
        if ![44_100, 48_000].contains(&self.rate_hz) {
            return refuse(format!("delivery at {} Hz is not supported", self.rate_hz), "use 44100 or 48000 Hz");
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_targets_pass_their_own_check() {
        for target in PUBLISHED_TARGETS {
            let found = published_target(target.name).unwrap();
            let delivery = DeliverySpec {
                integrated_lufs: found.integrated_lufs,
                ceiling_dbtp: found.ceiling_dbtp,
                ..DeliverySpec::default()
            };
            delivery.check().unwrap();
        }
        assert!(published_target("nowhere").unwrap_err().to_string().contains("ebu-r128"));
    }

    #[test]
    fn values_out_of_range_are_refused() {
        for delivery in [
            DeliverySpec { integrated_lufs: -3.0, ..DeliverySpec::default() },
            DeliverySpec { integrated_lufs: f64::NAN, ..DeliverySpec::default() },
            DeliverySpec { ceiling_dbtp: 1.0, ..DeliverySpec::default() },
            DeliverySpec { rate_hz: 96_000, ..DeliverySpec::default() },
        ] {
            assert_eq!(delivery.check().unwrap_err().error_kind(), JobErrorKind::Usage);
        }
    }
}
