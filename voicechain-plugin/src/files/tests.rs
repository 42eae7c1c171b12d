use super::*;
use std::fs;
use std::sync::mpsc::{SyncSender, sync_channel};

/// Temporary folder of one test, removed at its end.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("voicechain-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Files with a dialog whose result the test sends.
fn files() -> (Files, SyncSender<DialogResult>) {
    let (sender, results) = sync_channel(8);
    let results = Mutex::new(results);
    let dialog = move |_: &DialogRequest| results.lock().unwrap().recv().unwrap();
    (Files::with(Arc::new(dialog), RedrawFlag::default()), sender)
}

/// Waits for the next outcome.
fn outcome(files: &mut Files) -> Outcome {
    loop {
        if let Some(outcome) = files.outcome() {
            return outcome;
        }
        std::thread::yield_now();
    }
}

/// Starts the choice of a file on a system without a file dialog.
fn choose_without_dialog(files: &mut Files, sender: &SyncSender<DialogResult>, operation: FileOperation) {
    files.choose(operation, TEXT.into(), "").unwrap();
    sender.send(DialogResult::Unavailable).unwrap();
    assert_eq!(outcome(files), Outcome::DialogUnavailable);
}

const TEXT: &str = "format = 1\n[trim]\ngain_db = 3.0\n";

#[test]
fn a_saved_file_is_opened_again() {
    let (folder, (mut files, sender)) = (Folder::new("round"), files());
    let path = folder.file("a voice.toml");
    files.choose(FileOperation::Save, TEXT.into(), "A voice").unwrap();
    assert!(files.file_dialog().unwrap().system_dialog);
    assert!(files.file_dialog().unwrap().path.ends_with("A voice.toml"));
    sender.send(DialogResult::File(path.clone())).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()));
    assert_eq!(files.file_dialog(), None);
    files.choose(FileOperation::Open, String::new(), "").unwrap();
    sender.send(DialogResult::File(path.clone())).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Read(path.clone(), TEXT.into()));
    // The dialog has asked: the file is replaced as a whole, and no temporary file remains beside it.
    files.choose(FileOperation::Save, "format = 1\n".into(), "").unwrap();
    sender.send(DialogResult::File(path.clone())).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()));
    assert_eq!(fs::read_to_string(&path).unwrap(), "format = 1\n");
    assert_eq!(fs::read_dir(&folder.0).unwrap().count(), 1);
}

#[test]
fn a_cancelled_choice_writes_nothing() {
    let (folder, (mut files, sender)) = (Folder::new("given-up"), files());
    // Cancelled in the dialog.
    files.choose(FileOperation::Save, TEXT.into(), "").unwrap();
    sender.send(DialogResult::Cancelled).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Cancelled);
    assert_eq!(files.file_dialog(), None);
    // Cancelled on the page while the dialog is still open; its later result is ignored.
    files.choose(FileOperation::Save, TEXT.into(), "").unwrap();
    files.cancel();
    assert_eq!(files.file_dialog(), None);
    sender.send(DialogResult::File(folder.file("late.toml"))).unwrap();
    files.choose(FileOperation::Save, TEXT.into(), "").unwrap();
    let path = folder.file("typed.toml");
    files.typed(path.to_str().unwrap(), false).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path));
    sender.send(DialogResult::File(folder.file("later.toml"))).unwrap();
    while Arc::strong_count(&files.number) > 1 {
        std::thread::yield_now();
    }
    assert!(!folder.file("late.toml").exists() && !folder.file("later.toml").exists());
    assert_eq!(files.outcome(), None);
}

#[test]
fn without_a_dialog_a_path_can_be_typed() {
    let (folder, (mut files, sender)) = (Folder::new("typed"), files());
    choose_without_dialog(&mut files, &sender, FileOperation::Save);
    assert!(!files.file_dialog().unwrap().system_dialog, "the page still asks for a path");
    let path = folder.file("voice.toml");
    let text = path.to_str().unwrap();
    fs::write(&path, "mine").unwrap();
    files.typed(text, false).unwrap();
    assert_eq!(outcome(&mut files), Outcome::AlreadyExists(text.into()));
    assert_eq!(files.file_dialog().unwrap().existing_path, text);
    assert_eq!(fs::read_to_string(&path).unwrap(), "mine", "replacing was not confirmed");
    files.typed(text, true).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()));
    assert_eq!(fs::read_to_string(&path).unwrap(), TEXT);
}

#[test]
fn a_path_that_is_entered_twice_is_saved_once() {
    let (folder, (mut files, sender)) = (Folder::new("twice"), files());
    choose_without_dialog(&mut files, &sender, FileOperation::Save);
    let path = folder.file("voice.toml");
    files.typed(path.to_str().unwrap(), false).unwrap();
    // At any stage of the first request.
    while !path.exists() {
        std::thread::yield_now();
    }
    files.typed(path.to_str().unwrap(), false).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()), "not blocked by the file it has written itself");
    assert_eq!(files.outcome(), None);
    assert_eq!(files.file_dialog(), None);
    // A path that was refused can be entered again.
    choose_without_dialog(&mut files, &sender, FileOperation::Save);
    for _ in 0..2 {
        files.typed(path.to_str().unwrap(), false).unwrap();
        assert_eq!(outcome(&mut files), Outcome::AlreadyExists(path.to_str().unwrap().into()));
    }
}

#[test]
fn read_and_write_errors_are_reported_and_the_choice_stays_open() {
    let (folder, (mut files, sender)) = (Folder::new("wrong"), files());
    choose_without_dialog(&mut files, &sender, FileOperation::Open);
    let wrong = |files: &mut Files, path: &str| {
        files.typed(path, false).unwrap();
        assert!(files.file_dialog().is_some(), "{path}");
        match outcome(files) {
            Outcome::Failed(reason) => reason,
            other => panic!("{path}: {other:?}"),
        }
    };
    let missing = folder.file("missing.toml");
    assert!(wrong(&mut files, missing.to_str().unwrap()).starts_with("there is no file missing.toml in "));
    assert!(wrong(&mut files, folder.0.to_str().unwrap()).contains("it is a folder"));
    for path in ["", "voice.toml", "../voice.toml", "/"] {
        assert!(wrong(&mut files, path).contains("whole path"), "{path}");
    }
    files.cancel();
    files.choose(FileOperation::Save, TEXT.into(), "").unwrap();
    let nowhere = folder.file("no/where.toml");
    assert!(wrong(&mut files, nowhere.to_str().unwrap()).starts_with("there is no folder "));
    sender.send(DialogResult::Cancelled).unwrap();
}

#[test]
fn binary_and_overlong_files_are_refused_by_the_parser() {
    let folder = Folder::new("bytes");
    let path = folder.file("noise.toml");
    fs::write(&path, [0xFF, 0x00, 0x80]).unwrap();
    assert!(voicechain_text::read(&read(&path).unwrap()).unwrap_err().to_string().contains("not a settings file"));
    fs::write(&path, vec![b'#'; 4 * voicechain_text::MAX_BYTES]).unwrap();
    let text = read(&path).unwrap();
    assert_eq!(text.len(), voicechain_text::MAX_BYTES + 1);
    assert!(voicechain_text::read(&text).unwrap_err().to_string().contains("too long"));
}
