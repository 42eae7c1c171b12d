//! Virtual screen for tests of the editor's window: a display server in memory, host windows, pointer and keyboard
//! input, screenshots.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};
use x11rb::connection::Connection;
use x11rb::protocol::Event;
use x11rb::protocol::xproto::{
    AtomEnum, BUTTON_PRESS_EVENT, BUTTON_RELEASE_EVENT, ChangeWindowAttributesAux, ConfigureWindowAux,
    ConnectionExt as _, CreateWindowAux, EventMask, ImageFormat, InputFocus, KEY_PRESS_EVENT, KEY_RELEASE_EVENT,
    MOTION_NOTIFY_EVENT, PropMode, WindowClass,
};
use x11rb::protocol::xtest::ConnectionExt as _;
use x11rb::rust_connection::RustConnection;
use x11rb::wrapper::ConnectionExt as _;

/// Size of the screen, pixels.
const SIZE: [u16; 2] = [1_600, 1_200];
/// Number of captures without a change, a few milliseconds each, after which the screen counts as unchanged.
const MAX_CAPTURES: usize = 16;
/// Maximum waiting time.
const TIMEOUT: Duration = Duration::from_secs(20);

/// Picture of the screen: rows of red, green and blue.
#[derive(Clone, PartialEq)]
pub struct Screenshot {
    /// Width and height, pixels.
    pub size: [usize; 2],
    /// Pixels, three bytes each.
    pub rgb: Vec<u8>,
}

impl Screenshot {
    /// Colour of one pixel.
    #[must_use]
    pub fn at(&self, x: usize, y: usize) -> [u8; 3] {
        let at = 3 * (y * self.size[0] + x);
        [self.rgb[at], self.rgb[at + 1], self.rgb[at + 2]]
    }

    /// Fraction of pixels that differ from another picture of the same size.
    #[must_use]
    pub fn difference(&self, other: &Self) -> f64 {
        let pairs = self.rgb.chunks_exact(3).zip(other.rgb.chunks_exact(3));
        pairs.filter(|(a, b)| a != b).count() as f64 / (self.rgb.len() / 3) as f64
    }

    /// Whether it equals another picture within a rectangle.
    #[must_use]
    pub fn same_within(&self, other: &Self, [[left, top], [right, bottom]]: [[usize; 2]; 2]) -> bool {
        (top..bottom).all(|y| (left..right).all(|x| self.at(x, y) == other.at(x, y)))
    }

    /// Writes the picture as PNG.
    ///
    /// # Panics
    /// If the file cannot be written.
    pub fn write(&self, path: &Path) {
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
        let file = std::io::BufWriter::new(std::fs::File::create(path).expect("a file"));
        let mut encoder = png::Encoder::new(file, self.size[0] as u32, self.size[1] as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_compression(png::Compression::High);
        encoder.write_header().and_then(|mut writer| writer.write_image_data(&self.rgb)).expect("a picture");
    }
}

/// Temporary home folder of the tests, for settings files.
#[must_use]
pub fn home() -> PathBuf {
    std::env::temp_dir().join(format!("voicechain-home-{}", std::process::id()))
}

/// Display server with a screen.
pub struct Screen {
    _server: Child,
    connection: RustConnection,
    root: u32,
}

impl Screen {
    /// Screen of this process, started on first use. The server ends by itself with this process, because window
    /// libraries abort a process whose server is terminated.
    ///
    /// # Panics
    /// If the display server cannot be started.
    pub fn of_this_process() -> &'static Self {
        static SCREEN: OnceLock<Screen> = OnceLock::new();
        SCREEN.get_or_init(Self::start)
    }

    #[allow(unsafe_code)]
    fn start() -> Self {
        let size = format!("{}x{}x24", SIZE[0], SIZE[1]);
        let mut server = Command::new("Xvfb")
            .args(["-displayfd", "1", "-screen", "0", &size, "-nolisten", "tcp", "-terminate"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("Xvfb is needed (on Debian: apt-get install xvfb libgl1 libgl1-mesa-dri libx11-xcb1 libxcursor1)");
        let mut line = String::new();
        let output = server.stdout.take().expect("its output");
        BufReader::new(output).read_line(&mut line).expect("the number of the display");
        let display = format!(":{}", line.trim());
        // SAFETY: window tests are alone in their process, and nothing reads the environment at this time.
        unsafe {
            std::env::set_var("DISPLAY", &display);
            // Prevents a file dialog on the desktop of the user who runs the tests.
            std::env::set_var("DBUS_SESSION_BUS_ADDRESS", "unix:path=/nowhere");
            std::env::set_var("HOME", home());
        }
        let (connection, screen) = x11rb::connect(Some(&display)).expect("the server answers");
        let root = connection.setup().roots[screen].root;
        Self { _server: server, connection, root }
    }

    /// Creates a window in the upper left corner, as a host does to embed an editor.
    ///
    /// # Panics
    /// If the server refuses.
    pub fn window(&self, width: u32, height: u32) -> u32 {
        let window = self.connection.generate_id().expect("an id");
        let aux = CreateWindowAux::new().background_pixel(0x80_8080).override_redirect(1);
        let (width, height) = (width as u16, height as u16);
        self.connection
            .create_window(0, window, self.root, 0, 0, width, height, 0, WindowClass::INPUT_OUTPUT, 0, &aux)
            .expect("a window");
        self.connection
            .change_property8(PropMode::REPLACE, window, AtomEnum::WM_NAME, AtomEnum::STRING, b"host")
            .expect("a name");
        self.map(window);
        window
    }

    /// Makes the host responsible for showing windows embedded in `window`, as in hosts with XEmbed sockets. An
    /// embedded window that requests to be shown is returned by [`map_request`](Self::map_request); it waits for
    /// [`map`](Self::map).
    ///
    /// # Panics
    /// If the server refuses.
    pub fn redirect(&self, window: u32) {
        let mask = ChangeWindowAttributesAux::new().event_mask(EventMask::SUBSTRUCTURE_REDIRECT);
        self.connection.change_window_attributes(window, &mask).expect("the server answers");
        self.connection.sync().expect("the server answers");
    }

    /// Window that has requested to be shown inside a redirected one; each request is returned once.
    ///
    /// # Panics
    /// If the server is gone.
    #[must_use]
    pub fn map_request(&self) -> Option<u32> {
        std::iter::from_fn(|| self.connection.poll_for_event().expect("the server answers")).find_map(|event| {
            match event {
                Event::MapRequest(request) => Some(request.window),
                _ => None,
            }
        })
    }

    /// Shows a window.
    ///
    /// # Panics
    /// If the server is gone.
    pub fn map(&self, window: u32) {
        self.connection.map_window(window).expect("the server answers");
        self.connection.sync().expect("the server answers");
    }

    /// Destroys a window.
    ///
    /// # Panics
    /// If the server is gone.
    pub fn close(&self, window: u32) {
        self.connection.destroy_window(window).expect("the server answers");
        self.connection.sync().expect("the server answers");
    }

    /// Picture of the upper left corner of the screen.
    ///
    /// # Panics
    /// If the server is gone.
    #[must_use]
    pub fn capture(&self, width: u32, height: u32) -> Screenshot {
        let rgb = self.bytes(width as u16, height as u16);
        let rgb = rgb.chunks_exact(4).flat_map(|pixel| [pixel[2], pixel[1], pixel[0]]).collect();
        Screenshot { size: [width as usize, height as usize], rgb }
    }

    /// Pixels as the server stores them: four bytes each.
    fn bytes(&self, width: u16, height: u16) -> Vec<u8> {
        let image = self.connection.get_image(ImageFormat::Z_PIXMAP, self.root, 0, 0, width, height, !0);
        image.expect("the server answers").reply().expect("a picture").data
    }

    fn fake(&self, kind: u8, detail: u8, [x, y]: [f32; 2]) {
        self.connection
            .xtest_fake_input(kind, detail, 0, self.root, x.round() as i16, y.round() as i16, 0)
            .expect("the server answers");
        self.connection.sync().expect("the server answers");
    }

    /// Waits until the screen has changed, for at most 16 captures. The editor must draw between two pointer
    /// movements, as it does between those of a user.
    pub fn wait_for_redraw(&self) {
        let before = self.bytes(SIZE[0], 1_000);
        let _ = (0..MAX_CAPTURES).find(|_| self.bytes(SIZE[0], 1_000) != before);
    }

    /// Resizes a window.
    ///
    /// # Panics
    /// If the server refuses.
    pub fn resize(&self, window: u32, width: u32, height: u32) {
        let size = ConfigureWindowAux::new().width(width).height(height);
        self.connection.configure_window(window, &size).expect("the server answers");
        self.connection.sync().expect("the server answers");
    }

    /// Moves the pointer.
    pub fn move_pointer(&self, at: [f32; 2]) {
        self.fake(MOTION_NOTIFY_EVENT, 0, at);
        self.wait_for_redraw();
    }

    /// Clicks with the first button.
    pub fn click(&self, at: [f32; 2]) {
        self.move_pointer(at);
        self.fake(BUTTON_PRESS_EVENT, 1, at);
        self.fake(BUTTON_RELEASE_EVENT, 1, at);
        self.wait_for_redraw();
    }

    /// Clicks with the first button and moves away at once, faster than a frame is drawn.
    ///
    /// # Panics
    /// If the server is gone.
    pub fn click_and_leave(&self, at: [f32; 2], away: [f32; 2]) {
        let [at, away] = [at, away].map(|place| place.map(|x| x.round() as i16));
        for (kind, detail, [x, y]) in [
            (MOTION_NOTIFY_EVENT, 0, at),
            (BUTTON_PRESS_EVENT, 1, at),
            (BUTTON_RELEASE_EVENT, 1, at),
            (MOTION_NOTIFY_EVENT, 0, away),
        ] {
            self.connection.xtest_fake_input(kind, detail, 0, self.root, x, y, 0).expect("the server answers");
        }
        self.connection.sync().expect("the server answers");
    }

    /// Drags with the first button.
    pub fn drag(&self, from: [f32; 2], to: [f32; 2]) {
        self.move_pointer(from);
        self.fake(BUTTON_PRESS_EVENT, 1, from);
        for n in 1..=10 {
            let share = n as f32 / 10.0;
            self.move_pointer([from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])]);
        }
        self.fake(BUTTON_RELEASE_EVENT, 1, to);
        self.wait_for_redraw();
    }

    /// Turns the mouse wheel by one notch, up or down.
    pub fn wheel(&self, at: [f32; 2], up: bool) {
        self.move_pointer(at);
        let button = if up { 4 } else { 5 };
        self.fake(BUTTON_PRESS_EVENT, button, at);
        self.fake(BUTTON_RELEASE_EVENT, button, at);
        self.wait_for_redraw();
    }

    /// Presses and releases a key by its code.
    pub fn key(&self, code: u8) {
        self.fake(KEY_PRESS_EVENT, code, [0.0; 2]);
        self.fake(KEY_RELEASE_EVENT, code, [0.0; 2]);
        self.wait_for_redraw();
    }

    /// Sets the keyboard focus to a window.
    ///
    /// # Panics
    /// If the server is gone.
    pub fn focus(&self, window: u32) {
        self.connection.set_input_focus(InputFocus::PARENT, window, 0u32).expect("the server answers");
        self.connection.sync().expect("the server answers");
    }

    /// Window that has the keyboard focus.
    ///
    /// # Panics
    /// If the server is gone.
    #[must_use]
    pub fn focused(&self) -> u32 {
        self.connection.get_input_focus().expect("the server answers").reply().expect("an answer").focus
    }
}

/// Waits until a condition is true; returns the waiting time.
///
/// # Panics
/// If the condition is not true in time.
pub fn wait_until(what: &str, mut condition: impl FnMut() -> bool) -> Duration {
    let start = Instant::now();
    while !condition() {
        assert!(start.elapsed() < TIMEOUT, "timeout while waiting for {what}");
        std::thread::sleep(Duration::from_millis(2));
    }
    start.elapsed()
}
