//! Real-time safety: the audio thread makes no system call while it processes, whatever the main thread does. It does
//! not wait, print, or request memory from the system.
//!
//! The kernel reports every system call of the audio thread to this test while the plugin processes (Linux, system-call
//! user dispatch). Allocations are detected separately by the framework's allocator in debug builds, which aborts the
//! process. The test has a process of its own, because a signal handler applies to the whole process.
#![cfg(all(target_os = "linux", target_arch = "x86_64"))]

use std::sync::atomic::{AtomicI64, AtomicU8, AtomicU64, Ordering};
use voicechain_core::propose::Context;
use voicechain_core::strip::StartingPoint;
use voicechain_host_tests::raw_calls::{Buffers, Event};
use voicechain_host_tests::test_bench::TestBench;
use voicechain_host_tests::{HostedPlugin, clap_value};
use voicechain_tests::signals::{phrases, unequal};
use voicechain_tests::spectra::Noise;
use voicechain_tests::strips::random_value;

const ALLOW: u8 = 0;
const BLOCK: u8 = 1;

/// Selector that the kernel reads on every system call of the watched thread.
static GATE: AtomicU8 = AtomicU8::new(ALLOW);
/// Number of caught system calls.
static CALLS: AtomicU64 = AtomicU64::new(0);
/// Number of the last caught system call.
static LAST: AtomicI64 = AtomicI64::new(-1);

/// Records the system call, opens the gate and performs the call.
#[allow(unsafe_code)]
extern "C" fn caught(_signal: libc::c_int, _info: *mut libc::siginfo_t, context: *mut libc::c_void) {
    GATE.store(ALLOW, Ordering::SeqCst);
    CALLS.fetch_add(1, Ordering::SeqCst);
    // SAFETY: the kernel passes the interrupted registers, with number and arguments of the call.
    unsafe {
        let registers = &mut (*context.cast::<libc::ucontext_t>()).uc_mcontext.gregs;
        let get = |at: libc::c_int| registers[at as usize];
        let number = get(libc::REG_RAX);
        LAST.store(number, Ordering::SeqCst);
        let result = libc::syscall(
            number,
            get(libc::REG_RDI),
            get(libc::REG_RSI),
            get(libc::REG_RDX),
            get(libc::REG_R10),
            get(libc::REG_R8),
            get(libc::REG_R9),
        );
        registers[libc::REG_RAX as usize] = if result < 0 { -i64::from(*libc::__errno_location()) } else { result };
    }
}

/// Installs the signal handler for the process.
#[allow(unsafe_code)]
fn install() {
    // SAFETY: the handler calls only what a signal handler may call.
    unsafe {
        let mut action: libc::sigaction = std::mem::zeroed();
        let handler: extern "C" fn(libc::c_int, *mut libc::siginfo_t, *mut libc::c_void) = caught;
        action.sa_sigaction = handler as libc::sighandler_t;
        action.sa_flags = libc::SA_SIGINFO;
        assert_eq!(libc::sigaction(libc::SIGSYS, &raw const action, std::ptr::null_mut()), 0);
    }
}

/// Watches the calling thread from now on; returns false if the kernel does not support it.
#[allow(unsafe_code)]
fn watch_this_thread() -> bool {
    const PR_SET_SYSCALL_USER_DISPATCH: libc::c_int = 59;
    const ON: libc::c_ulong = 1;
    // SAFETY: the gate lives as long as the process.
    unsafe { libc::prctl(PR_SET_SYSCALL_USER_DISPATCH, ON, 0_usize, 0_usize, GATE.as_ptr()) == 0 }
}

/// Runs a call with the gate closed.
fn gated<T>(call: impl FnOnce() -> T) -> T {
    GATE.store(BLOCK, Ordering::SeqCst);
    let result = call();
    GATE.store(ALLOW, Ordering::SeqCst);
    result
}

/// Runs the built plugin, gated, through what its CLAP object adds: events behind the block, notifications of the tail,
/// silence until it sleeps, sound that passes through.
fn run_built_plugin() {
    let frequency = voicechain_core::settings::row("high_pass.frequency_hz").unwrap();
    for rate_hz in [48_000.0, 384_000.0] {
        let mut plugin = HostedPlugin::new(2);
        assert!(plugin.activate(rate_hz, 8_192));
        let id = plugin.parameter(frequency).id.get();
        let last = plugin.raw().on_audio_thread(|raw| {
            assert!(raw.start());
            let _ = raw.process(&mut [vec![0.0; 64], vec![0.0; 64]], 64, Buffers::Apart, Some(&[]));
            watch_this_thread();
            let mut last = 0;
            for block in 0..500_u32 {
                let sounds = block < 20;
                let mut signal = [vec![if sounds { 0.1 } else { 0.0 }; 8_192], vec![0.0; 8_192]];
                let hz = [80.0, 120.0][block as usize % 2];
                let event = |time| Event::new(time, id, clap_value(frequency, hz));
                let events = if sounds { vec![event(8_192 + block), event(u32::MAX)] } else { Vec::new() };
                last = raw.process_within(&mut signal, 8_192, Buffers::Apart, Some(&events), |call| gated(call));
            }
            raw.stop();
            last
        });
        assert_eq!(last, clap_sys::process::CLAP_PROCESS_SLEEP, "{rate_hz}");
        if rate_hz == 48_000.0 {
            assert!(plugin.requests.tail_changes.load(Ordering::Relaxed) > 0);
        }
    }
}

#[test]
fn processing_makes_no_system_call() {
    install();
    let frames = unequal(&phrases(0.1, 48_000.0, 6.0, 3));
    let mut bench = TestBench::new(2);
    assert!(bench.plugin.activate(48_000.0, 512));
    bench.instance.meters.watch(true);
    bench.instance.measure().unwrap();
    let host = bench.host();
    let ids: Vec<_> = voicechain_core::settings::rows()
        .filter(|info| info.automatable)
        .map(|info| (bench.plugin.parameter(info).id.get(), info))
        .collect();
    let raw = bench.plugin.raw();
    let audio = move || {
        raw.on_audio_thread(|raw| {
            assert!(raw.start());
            let mut random = Noise::new(17);
            // The first call of a thread may allocate its thread-local data.
            let mut first = vec![vec![0.0; 64]; 2];
            let _ = raw.process(&mut first, 64, Buffers::Apart, Some(&[]));
            let watched = watch_this_thread();
            let mut blocks = 0;
            for piece in frames.chunks(333) {
                let events: Vec<Event> = (0..8)
                    .map(|k| {
                        let (id, info) = ids[random.between(0.0, ids.len() as f64 - 0.001) as usize];
                        let value = clap_value(info, info.rounded(random_value(info, &mut random)));
                        Event::new(40 * k, id, value)
                    })
                    .collect();
                let mut block: Vec<Vec<f32>> = (0..2).map(|c| piece.iter().map(|frame| frame[c]).collect()).collect();
                let status =
                    raw.process_within(&mut block, piece.len(), Buffers::InPlace, Some(&events), |call| gated(call));
                assert_ne!(status, 0);
                blocks += 1;
            }
            raw.stop();
            (watched, blocks)
        })
    };
    let audio = std::thread::spawn(audio);
    // Meanwhile the main thread performs all kinds of operations.
    let mut rounds = 0;
    while !audio.is_finished() {
        assert!(bench.instance.commands.start_from(StartingPoint::ALL[rounds % StartingPoint::ALL.len()], &host));
        bench.instance.commands.undo(&host);
        bench.instance.meters.take(|_| ());
        if rounds % 4 == 0 {
            let saved = bench.plugin.save().unwrap();
            assert!(bench.plugin.load(&saved));
            let _ = bench.instance.measured();
            let _ = bench.instance.propose(Context::default(), &host);
            let _ = bench.instance.commands.copy().unwrap();
        }
        if rounds % 16 == 7 {
            bench.instance.stop_measuring();
            bench.instance.measure().unwrap();
        }
        rounds += 1;
    }
    let (watched, blocks) = audio.join().unwrap();
    assert!(blocks > 800 && rounds > 10, "{blocks} blocks, {rounds} rounds beside them");
    if !watched {
        eprintln!("this kernel has no system-call user dispatch: nothing was checked");
        return;
    }
    run_built_plugin();
    let calls = CALLS.load(Ordering::SeqCst);
    assert_eq!(calls, 0, "the last one was number {}", LAST.load(Ordering::SeqCst));

    // Negative control: a sleep is a system call.
    std::thread::spawn(|| {
        assert!(watch_this_thread());
        gated(|| std::thread::sleep(std::time::Duration::from_nanos(1)));
    })
    .join()
    .unwrap();
    assert!(CALLS.load(Ordering::SeqCst) > 0, "the sleep is caught");
}
