//! What connects the page with an instance: what the page shows of it.

use crate::files::Files;
use crate::instance::Instance;
use crate::scale::Scale;
use nice_plug::context::gui::GuiContext;
use std::time::{Duration, Instant};
use voicechain_core::measure::Profile;
use voicechain_core::propose::{Context, Proposal, propose};
use voicechain_core::strip::Ledger;
use voicechain_editor::{FIRST, History, Moment, Page};

/// While the voice is measured, what is known of it is asked for so often.
const ASK_EVERY: Duration = Duration::from_millis(500);

/// Connects the page with an instance.
pub(crate) struct Connection {
    pub(crate) instance: Instance,
    pub(crate) gui: Option<GuiContext>,
    pub(crate) page: Page,
    pub(crate) history: History,
    pub(crate) ledger: Option<Ledger>,
    pub(crate) match_db: [f64; 2],
    pub(crate) name: String,
    pub(crate) profile: Option<Profile>,
    pub(crate) validity: f64,
    pub(crate) proposal: Option<Box<Proposal>>,
    pub(crate) asked: Option<Instant>,
    pub(crate) files: Files,
    pub(crate) message: Option<String>,
    pub(crate) size: [f32; 2],
    pub(crate) scale: Scale,
}

impl Connection {
    pub(crate) fn new(instance: Instance, scale: Scale) -> Self {
        let files = Files::new(instance.meters.redraw());
        Self {
            instance,
            gui: None,
            page: Page::default(),
            history: History::default(),
            ledger: None,
            match_db: [0.0; 2],
            name: String::new(),
            profile: None,
            validity: 1.0,
            proposal: None,
            asked: None,
            files,
            message: None,
            size: FIRST,
            scale,
        }
    }

    /// What the meters said since the last time, and what is known of the voice.
    pub(crate) fn look(&mut self) {
        let (history, ledger, match_db) = (&mut self.history, &mut self.ledger, &mut self.match_db);
        self.instance.meters.take(|reading| {
            let (time_s, lufs, taken_db) = (reading.time_s, reading.momentary_lufs, reading.reduction_db);
            history.push(Moment { time_s, lufs, taken_db });
            *match_db = reading.match_db;
            if reading.ledger.is_some() {
                *ledger = reading.ledger;
            }
        });
        let measuring = self.instance.is_measuring();
        let due = match self.asked {
            None => true,
            Some(asked) => measuring && asked.elapsed() >= ASK_EVERY,
        };
        if due {
            self.asked = Some(Instant::now());
            // What a state brought along counts until something is measured here.
            let heard = self.instance.measured();
            self.validity = heard.as_ref().map_or(1.0, |heard| heard.validity);
            let profile = heard.map(|heard| heard.profile).or(self.instance.parameters.voice().profile);
            if profile != self.profile {
                self.profile = profile;
                self.proposal = profile.filter(|_| !measuring).map(|p| Box::new(propose(&p, Context::default())));
            }
        }
    }
}
