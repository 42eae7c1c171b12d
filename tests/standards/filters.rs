//! Filters: designs against closed forms and prototypes, the cascade against an independent one, motion, tails.

mod bank;
mod cascade;
mod designs;
mod motion;
mod space;
mod tail;
