//! Picture tests: the main states of the page, drawn by the software rasteriser and compared with `tests/pictures`.
//!
//! `VOICECHAIN_WRITE=1` overwrites the stored pictures; check them before committing.

use crate::raster::Raster;
use crate::track::Track;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{BufReader, BufWriter};
use std::path::{Path, PathBuf};
use voicechain_core::measure::profile::Reverberation;
use voicechain_core::propose::Proposal;
use voicechain_core::settings::{Slope, SpectralLatency, StageId};
use voicechain_editor::{DEFAULT_SIZE, FileOperation, MIN_SIZE};

/// Maximum fraction of bytes in a picture that may differ by more than [`OFF`].
const DIFFERENT: f64 = 0.001;
/// Difference of a byte that counts as rounding: one step of the stored values.
const OFF: u8 = 20;

fn file(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/pictures").join(name).with_extension("png")
}

/// Reduces each channel to four bits, so that files with few colours stay small.
fn coarse(rgb: &[u8]) -> Vec<u8> {
    rgb.iter().map(|part| part & 0xF0 | part >> 4).collect()
}

/// Writes a picture of at most 256 colours as an indexed PNG.
fn write(path: &Path, rgb: &[u8], [width, height]: [usize; 2]) {
    let colours: BTreeSet<&[u8]> = rgb.chunks_exact(3).collect();
    let colours: Vec<&[u8]> = colours.into_iter().collect();
    assert!(colours.len() <= 256, "{path:?} has {} colours", colours.len());
    let numbers: Vec<u8> = rgb.chunks_exact(3).map(|colour| colours.binary_search(&colour).unwrap() as u8).collect();
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    let file = BufWriter::new(File::create(path).unwrap());
    let mut encoder = png::Encoder::new(file, width as u32, height as u32);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_palette(colours.concat());
    encoder.set_compression(png::Compression::High);
    encoder.write_header().unwrap().write_image_data(&numbers).unwrap();
}

/// Reads a picture: three bytes per pixel, and size.
fn read(path: &Path) -> (Vec<u8>, [usize; 2]) {
    let file = File::open(path).unwrap_or_else(|_| panic!("{path:?} is missing: VOICECHAIN_WRITE=1 writes it"));
    let mut decoder = png::Decoder::new(BufReader::new(file));
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().unwrap();
    let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut rgb).unwrap();
    (rgb, [info.width as usize, info.height as usize])
}

fn check(name: &str, track: Track, size: [f32; 2], scale: f32) {
    let (harness, raster) = track.open(size, scale);
    compare(name, &harness, &raster, size, scale);
}

fn compare(name: &str, harness: &Harness<'static, Track>, raster: &Raster, size: [f32; 2], scale: f32) {
    let pixels = size.map(|points| (points * scale).round() as usize);
    let drawn = coarse(&raster.draw(&harness.ctx, harness.output(), pixels));
    let path = file(name);
    if std::env::var_os("VOICECHAIN_WRITE").is_some() {
        return write(&path, &drawn, pixels);
    }
    let (stored, size) = read(&path);
    assert_eq!(size, pixels, "{name}");
    let off = drawn.iter().zip(&stored).filter(|(a, b)| a.abs_diff(**b) > OFF).count();
    let share = off as f64 / drawn.len() as f64;
    assert!(share < DIFFERENT, "{name}: {:.2} % of the picture differs from {path:?}", 100.0 * share);
}

/// Track with a measured voice and a fixed proposal, so that changes of the proposal rules do not change the pictures.
fn measured() -> Track {
    let mut track = Track::measured();
    let mut proposal = Proposal::idle();
    let settings = &mut proposal.settings;
    settings.trim.gain_db = 7.0;
    settings.high_pass.on = true;
    settings.high_pass.frequency_hz = 72.0;
    settings.high_pass.slope = Slope::Db24;
    settings.corrective_eq.bell_2_frequency_hz = 455.0;
    settings.corrective_eq.bell_2_gain_db = -5.8;
    settings.corrective_eq.bell_2_q = 1.5;
    settings.de_esser.on = true;
    settings.de_esser.frequency_hz = 6_400.0;
    settings.compressor.on = true;
    settings.compressor.threshold_db = -24.0;
    settings.compressor.attack_ms = 4.0;
    settings.compressor.release_ms = 120.0;
    settings.tone_eq.low_shelf_gain_db = 2.0;
    settings.tone_eq.bell_gain_db = 2.2;
    track.proposal = Some(proposal);
    track
}

fn proposed() -> Track {
    let mut track = measured();
    track.settings = track.proposal.unwrap().settings.rounded();
    track
}

#[test]
fn empty() {
    check("empty", Track::empty(), DEFAULT_SIZE, 1.0);
}

#[test]
fn measuring() {
    let mut track = measured();
    track.measuring = true;
    track.proposal = None;
    track.profile.as_mut().unwrap().level.active_s = 12.0;
    check("measuring", track, DEFAULT_SIZE, 1.0);
}

#[test]
fn proposed_and_playing() {
    check("proposed", proposed(), DEFAULT_SIZE, 1.0);
}

/// Preview of a proposal.
#[test]
fn previewed() {
    let (mut harness, raster) = measured().open(DEFAULT_SIZE, 1.0);
    harness.get_by_label("propose").click();
    harness.run_steps(3);
    compare("previewed", &harness, &raster, DEFAULT_SIZE, 1.0);
}

#[test]
fn dark() {
    let mut track = proposed();
    track.page.dark = true;
    check("dark", track, DEFAULT_SIZE, 1.0);
}

#[test]
fn heavy_reduction() {
    let mut track = proposed();
    track.play(11.0);
    check("heavy", track, DEFAULT_SIZE, 1.0);
}

#[test]
fn smallest() {
    check("smallest", proposed(), MIN_SIZE, 1.0);
}

#[test]
fn double_resolution() {
    check("twice", proposed(), MIN_SIZE, 2.0);
}

#[test]
fn a_row_open() {
    let mut track = proposed();
    track.page.open_row(StageId::Compressor);
    check("open", track, [DEFAULT_SIZE[0], 900.0], 1.0);
}

#[test]
fn an_equaliser_open() {
    let mut track = proposed();
    track.page.open_row(StageId::CorrectiveEq);
    check("open-eq", track, [DEFAULT_SIZE[0], 900.0], 1.0);
}

/// Sibilant band and gain reduction of the de-esser.
#[test]
fn a_detector_open() {
    let mut track = proposed();
    track.page.open_row(StageId::DeEsser);
    check("open-detector", track, [DEFAULT_SIZE[0], 900.0], 1.0);
}

/// Decay of the reverberation.
#[test]
fn a_decay_open() {
    let mut track = proposed();
    track.page.open_row(StageId::DeReverb);
    track.settings.de_reverb.on = true;
    track.settings.spectral.latency = SpectralLatency::High;
    track.settings.de_reverb.decay_ms = 520.0;
    track.profile.as_mut().unwrap().reverberation = Ok(Reverberation { decay_time_s: 0.62, dry: false });
    check("open-decay", track, [DEFAULT_SIZE[0], 900.0], 1.0);
}

#[test]
fn a_file_to_choose() {
    let mut track = proposed();
    track.page.dark = true;
    let path = "/home/somebody/voices/Guest.toml".to_string();
    track.file_dialog = Some((FileOperation::Save, path.clone(), false, path));
    check("file", track, MIN_SIZE, 1.0);
}

/// Negative control of the comparison: another state differs.
#[test]
fn pictures_of_different_states_differ() {
    let draw = |track: Track| {
        let (harness, raster) = track.open(MIN_SIZE, 1.0);
        raster.draw(&harness.ctx, harness.output(), MIN_SIZE.map(|points| points as usize))
    };
    let (a, b) = (draw(Track::empty()), draw(proposed()));
    let off = a.iter().zip(&b).filter(|(a, b)| a.abs_diff(**b) > OFF).count();
    assert!(off as f64 / a.len() as f64 > 10.0 * DIFFERENT);
    assert_eq!(b, draw(proposed()), "the same state is the same picture");
}
