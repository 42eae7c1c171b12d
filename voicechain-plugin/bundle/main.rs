//! Builds the plugin and bundles it in the layout that hosts expect: `cargo bundle-plugin` (an alias in
//! `.cargo/config.toml`).
//!
//! What is shipped has no symbols and no paths of the machine that built it, and its VST3 bundle describes itself in
//! `moduleinfo.json`, so that a host need not load it for a list of plugins.

use anyhow::{Context, Result};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Folder of cargo's registry and tools.
fn cargo_home() -> Option<PathBuf> {
    std::env::var_os("CARGO_HOME").map(PathBuf::from).or_else(|| Some(std::env::home_dir()?.join(".cargo")))
}

/// Folder of the compiler and its library.
fn sysroot() -> Option<PathBuf> {
    let output = Command::new("rustc").args(["--print", "sysroot"]).output().ok()?;
    Some(String::from_utf8(output.stdout).ok()?.trim().into())
}

/// Arguments for cargo: without symbols, and with short names in place of the paths of this machine.
fn shipped(target: &Path) -> Result<[String; 4]> {
    let workspace = std::env::current_dir().context("the workspace has no path")?;
    // Where one folder lies in another, the last one that fits counts.
    let folders = [
        (cargo_home(), "cargo"),
        (sysroot(), "rust"),
        (Some(workspace), "voicechain"),
        (Some(target.to_path_buf()), "target"),
    ];
    let renamed = folders.into_iter().filter_map(|(folder, name)| Some((folder?, name)));
    let flags: Vec<String> =
        renamed.map(|(folder, name)| format!("--remap-path-prefix={}={name}", folder.display())).collect();
    let flags = serde_json::to_string(&flags).context("a path is not text")?;
    Ok([
        "--config".into(),
        "profile.release.strip=\"symbols\"".into(),
        "--config".into(),
        format!("build.rustflags={flags}"),
    ])
}

/// Writes `moduleinfo.json` into every VST3 bundle that this machine can load. On macOS, where it would break the
/// signature of the bundle, it is left out.
fn describe(bundled: &Path) -> Result<()> {
    for bundle in fs::read_dir(bundled).with_context(|| format!("{}: no bundles", bundled.display()))? {
        let contents = bundle?.path().join("Contents");
        let system = match std::env::consts::OS {
            "windows" => "win",
            other => other,
        };
        let system = format!("{}-{system}", std::env::consts::ARCH);
        let Ok(binaries) = fs::read_dir(contents.join(system)) else { continue };
        for binary in binaries {
            let resources = contents.join("Resources");
            fs::create_dir_all(&resources).with_context(|| format!("{}: cannot be created", resources.display()))?;
            let file = resources.join("moduleinfo.json");
            fs::write(&file, voicechain_bundle::module_info(&binary?.path())?)
                .with_context(|| format!("{}: cannot be written", file.display()))?;
        }
    }
    Ok(())
}

fn main() -> Result<()> {
    // `target/release/bundle`, wherever that folder is.
    let program = std::env::current_exe().context("this program has no path")?;
    let target = program.ancestors().nth(2).context("this program is not in a target folder")?;
    nice_plug_xtask::chdir_workspace_root()?;
    let arguments = std::env::args().skip(1).chain(shipped(target)?);
    nice_plug_xtask::main_with_args("cargo bundle-plugin", arguments)?;
    describe(&target.join("bundled"))
}
