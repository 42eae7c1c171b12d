#!/usr/bin/env python3
"""Compares the speed of the whole default stereo strip with a simpler chain of the Python library pedalboard.

    python3 benches/strip_vs_library.py [--rounds N] [--frames N] [--json]

Ours: high-pass, corrective EQ, de-esser, compressor, tone EQ and true-peak limiter with loudness and true-peak meters and
the level ledger (program strip_cost of this package, built here with cargo). Theirs: high-pass, eight peak filters,
compressor and limiter, without meters. Both process the same stereo signal at 48 kHz in 32-bit floats, exported by
strip_cost. A round is one run of each, ours first. Prints medians and the ratio within each round. The exit code is 1 if
the default strip is not at least TARGET times as fast.

Needs pedalboard and numpy. If they are missing, a virtual environment is created in the system's temporary folder and
kept for later runs (this needs the package index once).
"""

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TARGET = 1.5
RATE = 48_000
PACKAGES = ["pedalboard==0.9.26", "numpy"]
ROOT = Path(__file__).resolve().parent.parent


def import_library():
    """Imports both modules, from a virtual environment if they are not installed."""
    try:
        import numpy
        import pedalboard
        return numpy, pedalboard
    except ImportError:
        pass
    folder = Path(tempfile.gettempdir()) / f"voicechain-bench-python-{os.getuid() if hasattr(os, 'getuid') else 0}"
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    if Path(sys.prefix).resolve() == folder.resolve():
        sys.exit(f"strip_vs_library: {folder} does not work; delete it and try again")
    try:
        if not python.exists():
            subprocess.run([sys.executable, "-m", "venv", str(folder)], check=True)
        subprocess.run([str(python), "-m", "pip", "install", "--quiet", *PACKAGES], check=True)
    except (OSError, subprocess.CalledProcessError) as error:
        print(f"strip_vs_library: cannot create an environment in {folder} ({error}); install manually:", file=sys.stderr)
        sys.exit(f"  python3 -m pip install {' '.join(PACKAGES)}")
    sys.exit(subprocess.run([str(python), __file__, *sys.argv[1:]]).returncode)


def build():
    """Builds strip_cost in release mode and returns its path."""
    command = ["cargo", "build", "--release", "-p", "voicechain-benches", "--bin", "strip_cost",
               "--message-format", "json-render-diagnostics"]
    output = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True).stdout
    for line in output.splitlines():
        message = json.loads(line)
        if message.get("executable") and message["target"]["name"] == "strip_cost":
            return message["executable"]
    sys.exit("strip_vs_library: cargo did not build strip_cost")


def processor():
    try:
        for line in Path("/proc/cpuinfo").read_text().splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    except OSError:
        pass
    return platform.processor() or "unknown processor"


def chain(pedalboard):
    """High-pass, eight peak filters, compressor and limiter, all active."""
    bells = [(120, 2.0, 1.0), (250, -3.0, 1.4), (500, -2.0, 2.0), (1000, 1.5, 1.0),
             (2000, -1.5, 1.4), (3500, 2.5, 0.7), (6000, -2.0, 2.0), (10000, 1.5, 0.7)]
    return pedalboard.Pedalboard([
        pedalboard.HighpassFilter(70),
        *[pedalboard.PeakFilter(hz, gain_db, q) for hz, gain_db, q in bells],
        pedalboard.Compressor(threshold_db=-20, ratio=3, attack_ms=5, release_ms=100),
        pedalboard.Limiter(threshold_db=-1, release_ms=80),
    ])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=21)
    parser.add_argument("--frames", type=int, default=10 * RATE)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    if options.rounds < 1 or options.frames < RATE:
        parser.error(f"use at least one round and {RATE} frames")
    numpy, pedalboard = import_library()
    program = build()

    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "signal.f32")
        subprocess.run([program, "--frames", str(options.frames), "--export", path], check=True)
        signal = numpy.fromfile(path, dtype=numpy.float32).reshape(-1, 2).T.copy()
    board = chain(pedalboard)

    def ours(settings):
        command = [program, "--frames", str(options.frames), "--settings", settings]
        return float(subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout.split()[0])

    def theirs():
        start = time.perf_counter_ns()
        board(signal, RATE)
        return (time.perf_counter_ns() - start) / signal.shape[1]

    theirs()
    rounds = [(ours("default"), theirs(), ours("live-room")) for _ in range(options.rounds)]
    result = {
        "format": 1,
        "processor": processor(),
        "compiler": subprocess.run(["rustc", "-V"], stdout=subprocess.PIPE, text=True, check=True).stdout.strip(),
        "python": platform.python_version(),
        "pedalboard": pedalboard.__version__,
        "rounds": options.rounds,
        "frames": options.frames,
        "target": TARGET,
        "ns_per_frame": {
            "ours_default": statistics.median(r[0] for r in rounds),
            "ours_live_room": statistics.median(r[2] for r in rounds),
            "pedalboard": statistics.median(r[1] for r in rounds),
        },
        "ratio_default": statistics.median(r[1] / r[0] for r in rounds),
        "ratio_live_room": statistics.median(r[1] / r[2] for r in rounds),
        "ratios_default": [round(r[1] / r[0], 3) for r in rounds],
    }
    if options.json:
        print(json.dumps(result, indent=2))
    else:
        ns = result["ns_per_frame"]
        print(f"{result['processor']}, {result['compiler']}, Python {result['python']}")
        print(f"stereo, {RATE} Hz, {options.frames} frames, medians of {options.rounds} interleaved rounds\n")
        print(f"{'':46}ns/frame  theirs/ours")
        print(f"{'our default strip, meters, ledger':46}{ns['ours_default']:8.2f}{result['ratio_default']:13.2f}")
        print(f"{'our starting point for a live room':46}{ns['ours_live_room']:8.2f}{result['ratio_live_room']:13.2f}")
        print(f"{'pedalboard ' + pedalboard.__version__ + ', simpler chain':46}{ns['pedalboard']:8.2f}")
        print("\nper round: " + " ".join(f"{ratio:.2f}" for ratio in result["ratios_default"]))
        print(f"target: at least {TARGET}")
    return 0 if result["ratio_default"] >= TARGET else 1


if __name__ == "__main__":
    sys.exit(main())
