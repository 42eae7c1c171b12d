#!/usr/bin/env python3
"""Hosts the VST3 bundle in pedalboard and compares it to the last bit with what `render` wrote.

    vst3.py BUNDLE FOLDER

Prints one line per case and "N passed, N failed".
"""

import json
import re
import sys
from pathlib import Path

import numpy as np
import pedalboard


LONGEST = 3000


def set_all(plugin, positions):
    by_name = {parameter.name: parameter for parameter in plugin.parameters.values()}
    missing = sorted(set(positions) - set(by_name))
    assert not missing, f"the host does not see {missing}"
    for name, position in positions.items():
        by_name[name].raw_value = position


def hosted(bundle, case, sound, blocks):
    """The host's rendering; it leaves out the latency at the beginning."""
    plugin = pedalboard.load_plugin(str(bundle))
    rate, half = case["rate"], case["half"]
    set_all(plugin, case["first"])
    # The host hands parameters over with the next block; the reset afterwards starts from rest in them.
    plugin.process(np.zeros((sound.shape[0], 64), np.float32), rate, reset=True)
    plugin.reset()
    out, at = [], 0
    while at < sound.shape[1]:
        if at == half:
            set_all(plugin, case["second"])
        end = min(at + next(blocks), half if at < half else sound.shape[1])
        out.append(plugin.process(sound[:, at:end], rate, reset=False))
        at = end
    return np.concatenate(out, axis=1)


def sizes(seed):
    random = np.random.default_rng(seed)
    # The host activates the plugin afresh for a block that is longer than all since its reset.
    yield LONGEST
    while True:
        yield int(random.integers(1, LONGEST))


def component_state(raw):
    """The plugin's own bytes: the host keeps them in XML, in its own base 64 (length, point, six bits per character)."""
    text = re.search(rb"<IComponent>(\d+)\.([^<]*)</IComponent>", raw)
    digits = b".ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+"
    bits = 0
    for place, digit in enumerate(text[2]):
        bits |= digits.index(digit) << (6 * place)
    return bits.to_bytes(6 * len(text[2]) // 8 + 1, "little")[: int(text[1])]


def states(bundle):
    """A state is readable and goes through another instance."""
    first, second = pedalboard.load_plugin(str(bundle)), pedalboard.load_plugin(str(bundle))
    silence = np.zeros((2, 512), np.float32)
    first.parameters["compressor_threshold"].raw_value = 0.25
    for plugin in (first, second):
        plugin.process(silence, 48000)
    saved = component_state(first.raw_state)
    text = json.loads(saved)["fields"]["settings"]
    assert text.startswith("format = 1") and "threshold_db = -45.0" in text, text
    assert component_state(second.raw_state) != saved
    second.raw_state = first.raw_state
    second.process(silence, 48000)
    return component_state(second.raw_state) == saved


def main():
    bundle, folder = Path(sys.argv[1]), Path(sys.argv[2])
    passed = failed = 0
    for file in sorted(folder.glob("case-*.json")):
        case = json.loads(file.read_text())
        number = file.stem.split("-")[1]
        read = lambda kind: np.fromfile(folder / f"{kind}-{number}.f32", "<f4").reshape(case["channels"], -1)
        sound, expected = read("input"), read("output")
        got = hosted(bundle, case, sound, sizes(int(number)))
        # The host gives fewer frames by the latency, or as many; compare what both have, aligned.
        lost = expected.shape[1] - got.shape[1]
        want = expected[:, lost:]
        same = np.array_equal(got.view("<u4"), want.astype("<f4").view("<u4"))
        first = np.argmax((got.view("<u4") != want.astype("<f4").view("<u4")).any(axis=0)) if not same else None
        words = "equal" if same else f"parts at {first}, {np.abs(got - want).max():g}"
        print(f"{case['channels']} channels at {case['rate']:g} Hz: {words} ({lost} frames of latency left out)")
        passed, failed = passed + same, failed + (not same)
    ok = states(bundle)
    print(f"state: {'equal' if ok else 'differs'}")
    passed, failed = passed + ok, failed + (not ok)
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
