//! Filters: designs against closed forms and prototypes, the cascade against an independent one, motion, tails.

mod bank;
mod cascade;
mod designs;
mod settings_space;
mod tail;
mod time_varying;
