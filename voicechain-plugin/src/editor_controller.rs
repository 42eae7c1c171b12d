//! Controller between the page and an instance: collects what the page shows.

use crate::files::Files;
use crate::instance::Instance;
use crate::scale::Scale;
use nice_plug::context::gui::GuiContext;
use std::time::{Duration, Instant};
use voicechain_core::measure::Profile;
use voicechain_core::propose::{Context, Proposal, propose};
use voicechain_core::strip::Ledger;
use voicechain_editor::{DEFAULT_SIZE, History, HistoryPoint, Page};

/// Interval at which the profile is polled during a measurement.
const PROFILE_POLL_INTERVAL: Duration = Duration::from_millis(500);

/// Controller between the page and an instance.
pub(crate) struct EditorController {
    pub(crate) instance: Instance,
    pub(crate) gui: Option<GuiContext>,
    pub(crate) page: Page,
    pub(crate) history: History,
    pub(crate) ledger: Option<Ledger>,
    pub(crate) loudness_match_db: [f64; 2],
    pub(crate) name: String,
    pub(crate) profile: Option<Profile>,
    pub(crate) captured_fraction: f64,
    pub(crate) proposal: Option<Box<Proposal>>,
    pub(crate) profile_polled: Option<Instant>,
    pub(crate) files: Files,
    pub(crate) message: Option<String>,
    /// Why the sound passes through unprocessed, as last shown.
    pub(crate) pass_through: Option<String>,
    pub(crate) size: [f32; 2],
    pub(crate) scale: Scale,
}

impl EditorController {
    pub(crate) fn new(instance: Instance, scale: Scale) -> Self {
        let files = Files::new(instance.meters.redraw());
        Self {
            instance,
            gui: None,
            page: Page::default(),
            history: History::default(),
            ledger: None,
            loudness_match_db: [0.0; 2],
            name: String::new(),
            profile: None,
            captured_fraction: 1.0,
            proposal: None,
            profile_polled: None,
            files,
            message: None,
            pass_through: None,
            size: DEFAULT_SIZE,
            scale,
        }
    }

    /// Takes the new meter readings, and the profile when it is due.
    pub(crate) fn poll(&mut self) {
        let (history, ledger, loudness_match_db) = (&mut self.history, &mut self.ledger, &mut self.loudness_match_db);
        self.instance.meters.take(|reading| {
            let (time_s, lufs, reduction_db) = (reading.time_s, reading.momentary_lufs, reading.reduction_db);
            history.push(HistoryPoint { time_s, lufs, reduction_db });
            *loudness_match_db = reading.loudness_match_db;
            if reading.ledger.is_some() {
                *ledger = reading.ledger;
            }
        });
        let measuring = self.instance.is_measuring();
        let due = match self.profile_polled {
            None => true,
            Some(profile_polled) => measuring && profile_polled.elapsed() >= PROFILE_POLL_INTERVAL,
        };
        if due {
            self.profile_polled = Some(Instant::now());
            // The profile of the loaded state counts until a voice is measured here.
            let voice = self.instance.measured();
            self.captured_fraction = voice.as_ref().map_or(1.0, |voice| voice.captured_fraction);
            let profile = voice.map(|voice| voice.profile).or(self.instance.parameters.track_analysis().profile);
            if profile != self.profile {
                self.profile = profile;
                self.proposal = profile.filter(|_| !measuring).map(|p| Box::new(propose(&p, Context::default())));
            }
        }
    }
}
