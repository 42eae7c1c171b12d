//! Passes compiler, target, optimisation level and target features to the timing programs.

use std::env::var;
use std::process::Command;

fn main() {
    let rustc = var("RUSTC").unwrap_or_else(|_| "rustc".into());
    let version = Command::new(rustc).arg("-V").output().map(|o| String::from_utf8_lossy(&o.stdout).trim().to_owned());
    println!("cargo::rustc-env=BUILT_WITH={}", version.as_deref().unwrap_or("unknown compiler"));
    println!("cargo::rustc-env=BUILT_FOR={}", var("TARGET").unwrap_or_default());
    println!("cargo::rustc-env=BUILT_OPT_LEVEL={}", var("OPT_LEVEL").unwrap_or_default());
    println!("cargo::rustc-env=BUILT_FEATURES={}", var("CARGO_CFG_TARGET_FEATURE").unwrap_or_default());
    println!("cargo::rerun-if-changed=build.rs");
}
