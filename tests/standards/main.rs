//! Published values and closed forms: every expectation names its source.

mod dynamics;
mod filters;
