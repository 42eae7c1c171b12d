//! Second-order filters: design, cascades, filter banks, K-weighting and responses.

pub mod bank;
pub mod cascade;
pub mod design;
pub mod k_weighting;
pub mod ramp;
pub mod response;
pub mod section;
pub(crate) mod tail;

pub use bank::{EnergyBank, EnergyBankState};
pub use cascade::{Cascade, CascadeState};
pub use ramp::Ramp;
pub use response::Response;
pub use section::{Section, StateVariable};
