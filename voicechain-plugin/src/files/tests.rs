use super::*;
use std::fs;
use std::sync::mpsc::{SyncSender, sync_channel};

/// A folder of this test's own, taken away at its end.
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

/// Files whose window says what the test tells it.
fn files() -> (Files, SyncSender<DialogResult>) {
    let (say, said) = sync_channel(8);
    let said = Mutex::new(said);
    let window = move |_: &DialogRequest| said.lock().unwrap().recv().unwrap();
    (Files::with(Arc::new(window), RedrawFlag::default()), say)
}

/// What comes of it; the other thread is waited for.
fn outcome(files: &mut Files) -> Outcome {
    loop {
        if let Some(outcome) = files.outcome() {
            return outcome;
        }
        std::thread::yield_now();
    }
}

/// Asks for a file on a system that has no window for it.
fn without_window(files: &mut Files, say: &SyncSender<DialogResult>, operation: FileOperation) {
    files.choose(operation, TEXT.into(), "").unwrap();
    say.send(DialogResult::Unavailable).unwrap();
    assert_eq!(outcome(files), Outcome::DialogUnavailable);
}

const TEXT: &str = "format = 1\n[trim]\ngain_db = 3.0\n";

#[test]
fn what_is_saved_is_opened_again() {
    let (folder, (mut files, say)) = (Folder::new("round"), files());
    let path = folder.file("a voice.toml");
    files.choose(FileOperation::Save, TEXT.into(), "A voice").unwrap();
    assert!(files.file_dialog().unwrap().system_dialog);
    assert!(files.file_dialog().unwrap().path.ends_with("A voice.toml"));
    say.send(DialogResult::File(path.clone())).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()));
    assert_eq!(files.file_dialog(), None);
    files.choose(FileOperation::Open, String::new(), "").unwrap();
    say.send(DialogResult::File(path.clone())).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Read(path.clone(), TEXT.into()));
    // The window has asked: what was there is written over, whole, and nothing is left beside it.
    files.choose(FileOperation::Save, "format = 1\n".into(), "").unwrap();
    say.send(DialogResult::File(path.clone())).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()));
    assert_eq!(fs::read_to_string(&path).unwrap(), "format = 1\n");
    assert_eq!(fs::read_dir(&folder.0).unwrap().count(), 1);
}

#[test]
fn what_is_given_up_writes_nothing() {
    let (folder, (mut files, say)) = (Folder::new("given-up"), files());
    // In the window.
    files.choose(FileOperation::Save, TEXT.into(), "").unwrap();
    say.send(DialogResult::Cancelled).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Cancelled);
    assert_eq!(files.file_dialog(), None);
    // On the page, while the window is still there; a path that it gives later does not count.
    files.choose(FileOperation::Save, TEXT.into(), "").unwrap();
    files.cancel();
    assert_eq!(files.file_dialog(), None);
    say.send(DialogResult::File(folder.file("late.toml"))).unwrap();
    files.choose(FileOperation::Save, TEXT.into(), "").unwrap();
    let path = folder.file("typed.toml");
    files.typed(path.to_str().unwrap(), false).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path));
    say.send(DialogResult::File(folder.file("later.toml"))).unwrap();
    while Arc::strong_count(&files.number) > 1 {
        std::thread::yield_now();
    }
    assert!(!folder.file("late.toml").exists() && !folder.file("later.toml").exists());
    assert_eq!(files.outcome(), None);
}

#[test]
fn a_system_without_a_window_takes_a_path() {
    let (folder, (mut files, say)) = (Folder::new("typed"), files());
    without_window(&mut files, &say, FileOperation::Save);
    assert!(!files.file_dialog().unwrap().system_dialog, "the page still asks for a path");
    let path = folder.file("voice.toml");
    let text = path.to_str().unwrap();
    fs::write(&path, "mine").unwrap();
    files.typed(text, false).unwrap();
    assert_eq!(outcome(&mut files), Outcome::AlreadyExists(text.into()));
    assert_eq!(files.file_dialog().unwrap().existing_path, text);
    assert_eq!(fs::read_to_string(&path).unwrap(), "mine", "it was not said that it may be written over");
    files.typed(text, true).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()));
    assert_eq!(fs::read_to_string(&path).unwrap(), TEXT);
}

#[test]
fn a_path_that_is_entered_twice_is_saved_once() {
    let (folder, (mut files, say)) = (Folder::new("twice"), files());
    without_window(&mut files, &say, FileOperation::Save);
    let path = folder.file("voice.toml");
    files.typed(path.to_str().unwrap(), false).unwrap();
    // However far the first has come.
    while !path.exists() {
        std::thread::yield_now();
    }
    files.typed(path.to_str().unwrap(), false).unwrap();
    assert_eq!(outcome(&mut files), Outcome::Saved(path.clone()), "not taken by itself");
    assert_eq!(files.outcome(), None);
    assert_eq!(files.file_dialog(), None);
    // A path that was refused can be entered again.
    without_window(&mut files, &say, FileOperation::Save);
    for _ in 0..2 {
        files.typed(path.to_str().unwrap(), false).unwrap();
        assert_eq!(outcome(&mut files), Outcome::AlreadyExists(path.to_str().unwrap().into()));
    }
}

#[test]
fn what_cannot_be_read_or_written_is_said_and_asked_for_again() {
    let (folder, (mut files, say)) = (Folder::new("wrong"), files());
    without_window(&mut files, &say, FileOperation::Open);
    let wrong = |files: &mut Files, path: &str| {
        files.typed(path, false).unwrap();
        assert!(files.file_dialog().is_some(), "{path}");
        match outcome(files) {
            Outcome::Failed(why) => why,
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
    say.send(DialogResult::Cancelled).unwrap();
}

#[test]
fn bytes_that_are_no_text_and_endless_files_reach_the_reader_and_are_refused() {
    let folder = Folder::new("bytes");
    let path = folder.file("noise.toml");
    fs::write(&path, [0xFF, 0x00, 0x80]).unwrap();
    assert!(voicechain_text::read(&read(&path).unwrap()).unwrap_err().to_string().contains("not a settings file"));
    fs::write(&path, vec![b'#'; 4 * voicechain_text::MAX_BYTES]).unwrap();
    let text = read(&path).unwrap();
    assert_eq!(text.len(), voicechain_text::MAX_BYTES + 1);
    assert!(voicechain_text::read(&text).unwrap_err().to_string().contains("too long"));
}
