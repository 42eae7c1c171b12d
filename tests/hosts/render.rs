//! Renders reference output of the core for `vst3.py`: `render FOLDER`.
//!
//! Per case it writes `case-N.json` (sample rate, channels, latency, positions of all parameters by name for the first
//! and the second half), `input-N.f32` and `output-N.f32` (planar, single precision, little-endian). Each half has its
//! own settings.

use std::fmt::Write as _;
use std::io::Write as _;
use std::path::Path;
use voicechain_core::frame::Frame;
use voicechain_core::settings::{SectionId, rows};
use voicechain_core::{SampleRate, Strip, StripCoefs, StripSettings};
use voicechain_host_tests::vst3_position;
use voicechain_tests::signals::{phrases, unequal};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::random_settings;

fn positions(settings: &StripSettings) -> String {
    let mut json = String::from("{");
    for info in rows() {
        let section = SectionId::ALL.iter().find(|section| section.id() == info.section).expect("a section");
        let position = vst3_position(info, settings.get(info.id).expect("a row"));
        let comma = if json.len() > 1 { "," } else { "" };
        write!(json, "{comma}\"{} {}\":{position:?}", section.name(), info.name).expect("a string");
    }
    json + "}"
}

fn write_planar<const C: usize>(path: &Path, frames: &[[f32; C]]) -> std::io::Result<()> {
    let mut file = std::io::BufWriter::new(std::fs::File::create(path)?);
    for c in 0..C {
        for frame in frames {
            file.write_all(&frame[c].to_le_bytes())?;
        }
    }
    file.flush()
}

fn rounded_random_settings(random: &mut Noise) -> StripSettings {
    let exact = random_settings(random);
    let mut settings = StripSettings::default();
    for info in rows() {
        let value = info.rounded(exact.get(info.id).expect("a row"));
        settings.set(info.id, value).expect("a value of the table");
    }
    settings
}

fn case<const C: usize>(folder: &Path, number: usize, rate_hz: f64) -> Result<(), Box<dyn std::error::Error>>
where
    [f32; C]: Frame,
{
    let mut random = Noise::new(900 + number as u64);
    let rate = SampleRate::new(rate_hz)?;
    let pair = unequal(&phrases(-20.0, rate_hz, 1.0, number as u64));
    let mut frames: Vec<[f32; C]> = pair.iter().map(|frame| std::array::from_fn(|c| frame[c])).collect();
    write_planar(&folder.join(format!("input-{number}.f32")), &frames)?;
    let (first, second) = (rounded_random_settings(&mut random), rounded_random_settings(&mut random));
    let mut strip = Strip::<C>::new(&StripCoefs::design(&first, rate)?);
    let half = frames.len() / 2;
    strip.run(&mut frames[..half]);
    strip.set(&StripCoefs::design(&second, rate)?);
    strip.run(&mut frames[half..]);
    write_planar(&folder.join(format!("output-{number}.f32")), &frames)?;
    let json = format!(
        "{{\"rate\":{rate_hz},\"channels\":{C},\"latency\":{},\"half\":{half},\"first\":{},\"second\":{}}}",
        strip.latency(),
        positions(&first),
        positions(&second)
    );
    std::fs::write(folder.join(format!("case-{number}.json")), json)?;
    Ok(())
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args().nth(1).ok_or("usage: render FOLDER")?;
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder)?;
    for (k, rate_hz) in [44_100.0, 48_000.0, 96_000.0, 192_000.0].into_iter().enumerate() {
        case::<1>(folder, 2 * k, rate_hz)?;
        case::<2>(folder, 2 * k + 1, rate_hz)?;
    }
    Ok(())
}
