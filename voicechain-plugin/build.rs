//! Build script. On Linux it keeps the plugin in memory after it has been unloaded: a host thread that has called the
//! plugin may end later, and would then run thread-local destructors that are no longer mapped.

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    if std::env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "linux") {
        println!("cargo:rustc-cdylib-link-arg=-Wl,-z,nodelete");
    }
}
