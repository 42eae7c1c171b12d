//! The tests that doc comments name exist.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("a workspace").to_path_buf()
}

/// All files below a folder with one of the endings.
fn files_below(folder: &Path, endings: &[&str], found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            if path.file_name().is_some_and(|name| name != "target") {
                files_below(&path, endings, found);
            }
        } else if path.extension().and_then(|ending| ending.to_str()).is_some_and(|ending| endings.contains(&ending)) {
            found.push(path);
        }
    }
}

/// The comments of a file, each run of comment lines as one text.
fn comments(text: &str) -> Vec<String> {
    let mut found = vec![String::new()];
    for line in text.lines() {
        let line = line.trim_start();
        match ["//!", "///", "//"].iter().find_map(|start| line.strip_prefix(start)) {
            Some(comment) => *found.last_mut().expect("one") += &format!(" {}", comment.trim()),
            None if found.last().is_some_and(String::is_empty) => {}
            None => found.push(String::new()),
        }
    }
    found
}

/// What stands in backticks in the sentences that name tests: from "tested" to the end of the sentence.
fn references(comment: &str) -> Vec<String> {
    let mut found = Vec::new();
    for (at, _) in comment.match_indices("ested") {
        let sentence = &comment[at..];
        let end = sentence.match_indices(". ").map(|(end, _)| end).next().unwrap_or(sentence.len());
        let sentence = &sentence[..end];
        if !sentence.contains(" by ") {
            continue;
        }
        let mut parts = sentence.split('`');
        while let (Some(before), Some(inside)) = (parts.next(), parts.next()) {
            // A link leads to an item that rustdoc checks.
            if !before.ends_with('[') {
                found.push(inside.to_owned());
            }
        }
    }
    found
}

/// Names of functions, and of the files and folders that are suites and modules.
fn names(root: &Path) -> BTreeSet<String> {
    let mut sources = Vec::new();
    ["tests", "voicechain-core", "voicechain-plugin", "examples", "benches"]
        .iter()
        .for_each(|folder| files_below(&root.join(folder), &["rs"], &mut sources));
    let mut names = BTreeSet::new();
    for path in sources {
        let relative = path.strip_prefix(root).expect("below the root").with_extension("");
        names.extend(relative.components().map(|part| part.as_os_str().to_string_lossy().into_owned()));
        let text = fs::read_to_string(&path).expect("a text");
        for (at, _) in text.match_indices("fn ") {
            let name = text[at + 3..].split(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap_or_default();
            names.insert(name.to_owned());
        }
    }
    names
}

#[test]
fn every_test_that_a_comment_names_exists() {
    let root = root();
    let names = names(&root);
    let mut sources = Vec::new();
    ["voicechain-core", "voicechain-plugin", "examples"]
        .iter()
        .for_each(|folder| files_below(&root.join(folder), &["rs"], &mut sources));
    let (mut count, mut missing) = (0, Vec::new());
    for path in sources {
        let text = fs::read_to_string(&path).expect("a text");
        for reference in comments(&text).iter().flat_map(|comment| references(comment)) {
            count += 1;
            let known = if reference.contains('/') {
                root.join(&reference).exists()
            } else {
                reference.split("::").all(|part| names.contains(part))
            };
            if !known {
                missing.push(format!("{}: {reference}", path.strip_prefix(&root).expect("below").display()));
            }
        }
    }
    assert!(count > 60, "only {count} references were found: are they still read?");
    assert!(missing.is_empty(), "comments name tests that do not exist:\n{}", missing.join("\n"));
}

#[test]
fn a_missing_test_is_noticed() {
    let found = references("The tail. Tested by `no_such_test` and, with\n [`Strip`](x), by `timing`. See `other`.");
    assert_eq!(found, ["no_such_test", "timing"]);
    assert!(!names(&root()).contains("no_such_test_anywhere"));
}
