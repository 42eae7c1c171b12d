//! Builds the plugin and lays it out as hosts want it: `cargo bundle` (an alias in `.cargo/config.toml`).

fn main() -> nice_plug_xtask::Result<()> {
    nice_plug_xtask::main()
}
