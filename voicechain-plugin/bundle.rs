//! Builds the plugin and bundles it in the layout that hosts expect: `cargo bundle` (an alias in `.cargo/config.toml`).

fn main() -> nice_plug_xtask::Result<()> {
    nice_plug_xtask::main()
}
