//! Filters: designs against closed forms and analog prototypes, the cascade against an independent one, transitions,
//! tails.

mod bank;
mod cascade;
mod designs;
mod settings_space;
mod tail;
mod time_varying;
