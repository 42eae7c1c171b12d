//! Benchmark of the editor during playback: time to draw the page with new data, and time to tessellate it. The
//! graphics driver is not included.
//!
//!     cargo bench -p voicechain-benches --bench editor

use criterion::{Criterion, criterion_group, criterion_main};
use egui::{Context, FullOutput, RawInput, Rect, pos2};
use std::time::{Duration, Instant};
use voicechain_core::propose::{Context as Purpose, propose};
use voicechain_core::settings::StageId;
use voicechain_core::strip::{AuditionBand, Monitoring};
use voicechain_core::{SampleRate, StripSettings};
use voicechain_editor::{DEFAULT_SIZE, History, HistoryPoint, Page, STAGE_COUNT, ViewModel};

#[path = "../voicechain-plugin/editor/tests/example_profile.rs"]
mod example_profile;

/// Redraw rate for which the share of a core is printed, Hz.
const REDRAWS: f64 = 30.0;
const MOVING: [StageId; 3] = [StageId::DeEsser, StageId::Compressor, StageId::Limiter];

/// Editor page during playback.
struct Playing {
    ctx: Context,
    page: Page,
    settings: StripSettings,
    history: History,
    time_s: f64,
}

impl Playing {
    fn new() -> Self {
        let settings = propose(&example_profile::example_profile(), Purpose::default()).settings.rounded();
        let mut playing =
            Self { ctx: Context::default(), page: Page::default(), settings, history: History::default(), time_s: 0.0 };
        for _ in 0..600 {
            playing.advance();
        }
        // The first redraws build the font atlas.
        for _ in 0..4 {
            playing.draw().textures_delta.clear();
        }
        playing
    }

    fn advance(&mut self) {
        self.time_s += 1.0 / REDRAWS;
        let wave = |speed: f64| 0.5 + 0.5 * (self.time_s * speed).sin();
        let mut reduction_db = [0.0; STAGE_COUNT];
        for (n, stage) in MOVING.iter().enumerate() {
            reduction_db[*stage as usize] = 4.0 * wave(3.0 + n as f64);
        }
        let lufs = [Some(-30.0 + 8.0 * wave(5.0)), Some(-22.0 + 3.0 * wave(5.0))];
        self.history.push(HistoryPoint { time_s: self.time_s, lufs, reduction_db });
    }

    fn draw(&mut self) -> FullOutput {
        let profile = example_profile::example_profile();
        let size = Rect::from_min_max(pos2(0.0, 0.0), pos2(DEFAULT_SIZE[0], DEFAULT_SIZE[1]));
        let input = RawInput { screen_rect: Some(size), time: Some(self.time_s), ..RawInput::default() };
        let view = ViewModel {
            name: "Guest",
            settings: self.settings,
            rate: SampleRate::new(48_000.0).expect("a rate within its range"),
            profile: Some(&profile),
            captured_fraction: 1.0,
            proposal: None,
            measuring: false,
            monitoring: Monitoring { loudness_matched: true, ..Monitoring::default() },
            audition_band: AuditionBand::Full,
            ledger: None,
            loudness_match_db: [5.8, 0.0],
            metered_stages: &MOVING,
            history: &self.history,
            can_undo_redo: [true, false],
            clipboard: [true; 2],
            file_dialog: None,
            message: None,
            pass_through: None,
        };
        let page = &mut self.page;
        self.ctx.run_ui(input, |ui| {
            page.ui(ui, &view);
        })
    }
}

/// Minimum times of drawing and of tessellation over 200 redraws, s.
fn minimum_times(playing: &mut Playing) -> [f64; 2] {
    let mut minimum_times = [f64::INFINITY; 2];
    for _ in 0..200 {
        playing.advance();
        let start = Instant::now();
        let mut output = playing.draw();
        let drawn = start.elapsed().as_secs_f64();
        output.textures_delta.clear();
        let start = Instant::now();
        let shapes = std::mem::take(&mut output.shapes);
        std::hint::black_box(playing.ctx.tessellate(shapes, 1.0));
        minimum_times = [minimum_times[0].min(drawn), minimum_times[1].min(start.elapsed().as_secs_f64())];
    }
    minimum_times
}

fn benches(c: &mut Criterion) {
    let mut playing = Playing::new();
    for (name, seconds) in ["drawing the page", "tessellating the page"].into_iter().zip(minimum_times(&mut playing)) {
        let share = 100.0 * REDRAWS * seconds;
        println!("{name}: {:.0} µs, {share:.2} % of a core at {REDRAWS} redraws per second", 1e6 * seconds);
    }
    let mut group = c.benchmark_group("editor");
    group.sample_size(20).warm_up_time(Duration::from_millis(300)).measurement_time(Duration::from_secs(2));
    group.bench_function("draw", |b| {
        b.iter(|| {
            playing.advance();
            playing.draw().textures_delta.clear();
        });
    });
    group.finish();
}

criterion_group!(all, benches);
criterion_main!(all);
