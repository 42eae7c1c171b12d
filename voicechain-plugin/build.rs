//! On Linux the plugin stays in memory once it is loaded: a host's thread that has run it may end after the host has
//! unloaded the file, and would then run clean-up code that is gone.

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    if std::env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "linux") {
        println!("cargo:rustc-cdylib-link-arg=-Wl,-z,nodelete");
    }
}
