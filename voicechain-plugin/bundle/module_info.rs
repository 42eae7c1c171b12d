//! Description of a VST3 plugin for its bundle, as its factory gives it.

use anyhow::{Context, Result, ensure};
use libloading::{Library, Symbol};
use serde_json::{Value, json};
use std::ffi::{CStr, c_char};
use std::path::Path;
use vst3::ComPtr;
use vst3::Steinberg::PFactoryInfo_::FactoryFlags_;
use vst3::Steinberg::{
    IPluginFactory, IPluginFactory2, IPluginFactory2Trait, IPluginFactoryTrait, PClassInfo2, PFactoryInfo, kResultOk,
};

#[allow(unsafe_code)]
fn text(characters: &[c_char]) -> Result<String> {
    ensure!(characters.contains(&0), "a description has no end");
    // SAFETY: the text ends within the slice.
    Ok(unsafe { CStr::from_ptr(characters.as_ptr()) }.to_str().context("a description is not UTF-8")?.to_string())
}

fn class(class: &PClassInfo2) -> Result<Value> {
    let id: String = class.cid.iter().map(|&byte| format!("{:02X}", byte as u8)).collect();
    Ok(json!({
        "CID": id,
        "Category": text(&class.category)?,
        "Name": text(&class.name)?,
        "Vendor": text(&class.vendor)?,
        "Version": text(&class.version)?,
        "SDKVersion": text(&class.sdkVersion)?,
        "Sub Categories": text(&class.subCategories)?.split('|').collect::<Vec<_>>(),
        "Class Flags": class.classFlags,
        "Cardinality": class.cardinality,
        "Snapshots": [],
    }))
}

/// Text of `moduleinfo.json` for a plugin's shared library.
///
/// # Errors
/// If the library does not load or its factory does not answer as the format demands.
#[allow(unsafe_code)]
pub fn module_info(library: &Path) -> Result<String> {
    let name = || format!("{}: not a VST3 plugin", library.display());
    // SAFETY: the file is a plugin, and the calls are those of the format; the descriptions are plain data that the
    // plugin fills.
    unsafe {
        let library = Library::new(library).with_context(name)?;
        let get: Symbol<'_, unsafe extern "system" fn() -> *mut IPluginFactory> =
            library.get(b"GetPluginFactory").with_context(name)?;
        let factory = ComPtr::from_raw(get()).with_context(name)?;
        let second: ComPtr<IPluginFactory2> = factory.cast().with_context(name)?;
        let (mut info, mut classes): (PFactoryInfo, _) = (std::mem::zeroed(), Vec::new());
        ensure!(factory.getFactoryInfo(&raw mut info) == kResultOk, name());
        for index in 0..factory.countClasses() {
            let mut described: PClassInfo2 = std::mem::zeroed();
            ensure!(second.getClassInfo2(index, &raw mut described) == kResultOk, name());
            classes.push((class(&described)?, text(&described.name)?, text(&described.version)?));
        }
        let (_, plugin, version) = classes.first().with_context(name)?.clone();
        let flag = |flag: u32| info.flags as u32 & flag != 0;
        let module = json!({
            "Name": plugin,
            "Version": version,
            "Factory Info": {
                "Vendor": text(&info.vendor)?,
                "URL": text(&info.url)?,
                "E-Mail": text(&info.email)?,
                "Flags": {
                    "Unicode": flag(FactoryFlags_::kUnicode),
                    "Classes Discardable": flag(FactoryFlags_::kClassesDiscardable),
                    "Component Non Discardable": flag(FactoryFlags_::kComponentNonDiscardable),
                },
            },
            "Compatibility": [],
            "Classes": classes.into_iter().map(|(class, ..)| class).collect::<Vec<_>>(),
        });
        Ok(serde_json::to_string_pretty(&module)? + "\n")
    }
}
