#!/usr/bin/env python3
"""Reference pitch of the recorded speakers for the group "pitch" of tests/accuracy.

    cargo run --release -p voicechain-tests --bin accuracy -- --write target/speakers
    pip install praat-parselmouth==0.4.7 soundfile numpy
    python3 tests/standards/pitch_reference.py target/speakers > tests/fixtures/pitch_reference.csv

Autocorrelation method (Boersma 1993) over the whole recording, every 10 ms, 65 to 600 Hz. All other parameters are the
defaults of the library: at most 15 candidates, voicing threshold 0.45, silence threshold 0.03, octave cost 0.01,
octave-jump cost 0.35, voiced/unvoiced cost 0.14. The output is the 10th, 50th and 90th percentile of the voiced frames, Hz.
A ceiling of 420 Hz would halve the pitch of shouting speakers.
"""

import sys
from pathlib import Path

import numpy as np
import parselmouth
import soundfile

TIME_STEP_S = 0.01
FLOOR_HZ = 65.0
CEILING_HZ = 600.0


def main(folder):
    print("speaker,low_hz,median_hz,high_hz")
    for path in sorted(Path(folder).glob("*.wav")):
        samples, rate = soundfile.read(path, dtype="float64")
        sound = parselmouth.Sound(samples, rate)
        pitch = sound.to_pitch_ac(time_step=TIME_STEP_S, pitch_floor=FLOOR_HZ, pitch_ceiling=CEILING_HZ)
        hz = pitch.selected_array["frequency"]
        low, median, high = np.percentile(hz[hz > 0.0], [10, 50, 90])
        print(f"{path.stem},{low:.1f},{median:.1f},{high:.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
