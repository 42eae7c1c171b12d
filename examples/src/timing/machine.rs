//! Description of the machine and the build.

/// Processor name as reported by the system.
#[must_use]
pub fn processor() -> String {
    let info = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let name = info.lines().find_map(|line| line.strip_prefix("model name")?.split_once(": ").map(|(_, name)| name));
    name.unwrap_or("unknown processor").trim().to_owned()
}

/// Compiler, target, optimisation level and target features of this build.
#[must_use]
pub fn build() -> String {
    let [with, target, level, features] =
        [env!("BUILT_WITH"), env!("BUILT_FOR"), env!("BUILT_OPT_LEVEL"), env!("BUILT_FEATURES")];
    let debug = if cfg!(debug_assertions) { ", debug assertions on" } else { "" };
    format!("{with} for {target}, opt-level {level}{debug}, target features {features}")
}
