#!/usr/bin/env python3
"""Hosts the VST3 bundle in pedalboard and compares its output bit for bit with the output of `render`.

    vst3.py BUNDLE FOLDER

Further checks of the format, as far as pedalboard allows: states, texts of all parameters, invalid signals and random
settings, invalid states, many instances. Prints one line per case and "N passed, N failed".
"""

import json
import re
import sys
from pathlib import Path

import numpy as np
import pedalboard


# Maximum block size, frames.
MAX_BLOCK = 3000


def set_all(plugin, positions):
    by_name = {parameter.name: parameter for parameter in plugin.parameters.values()}
    missing = sorted(set(positions) - set(by_name))
    assert not missing, f"the host does not see {missing}"
    for name, position in positions.items():
        by_name[name].raw_value = position


def hosted(bundle, case, sound, blocks):
    """Output of the host, which omits the latency at the beginning."""
    plugin = pedalboard.load_plugin(str(bundle))
    rate, half = case["rate"], case["half"]
    set_all(plugin, case["first"])
    # The host passes parameters on with the next block; the reset clears the signal state.
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
    # The host activates the plugin again for a block longer than all blocks since its reset.
    yield MAX_BLOCK
    while True:
        yield int(random.integers(1, MAX_BLOCK))


def component_state(raw):
    """State bytes of the plugin. The host stores them in XML, in a base 64 of its own (length, point, six bits each)."""
    text = re.search(rb"<IComponent>(\d+)\.([^<]*)</IComponent>", raw)
    digits = b".ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+"
    bits = 0
    for place, digit in enumerate(text[2]):
        bits |= digits.index(digit) << (6 * place)
    return bits.to_bytes(6 * len(text[2]) // 8 + 1, "little")[: int(text[1])]


def states(bundle):
    """A state is readable and can be loaded into another instance."""
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


def texts(bundle):
    """Every value of every parameter survives the round trip through text."""
    plugin = pedalboard.load_plugin(str(bundle))
    for name, parameter in plugin.parameters.items():
        for position in np.linspace(0, 1, 21):
            text = parameter.get_text_for_raw_value(float(position))
            back = parameter.get_raw_value_for_text(text)
            assert 0 <= back <= 1, (name, text, back)
            assert parameter.get_text_for_raw_value(back) == text, (name, position, text)
    return True


def invalid_signals(bundle):
    """Any signal and any settings give finite, normal output."""
    random = np.random.default_rng(5)
    invalid = np.array([np.nan, np.inf, -np.inf, 3e38, 1e-40, -1e-45, 0.0, -0.0, 1.0, -1.0], np.float32)
    for channels in (1, 2):
        # One instance for all rates, because loading is slow: the host scans the whole bundle.
        plugin = pedalboard.load_plugin(str(bundle))
        parameters = list(plugin.parameters.values())
        for rate in (8000, 11025, 22050, 44100, 48000, 88200, 96000, 192000):
            for size in (1, 2, 3, 63, 64, 1000, 4097, 1):
                for parameter in random.choice(parameters, 5, replace=False):
                    parameter.raw_value = float(random.random())
                sound = random.choice(invalid, (channels, size))
                out = plugin.process(sound, rate, buffer_size=size, reset=False)
                assert np.isfinite(out).all(), (rate, channels, size)
                small = np.abs(out[out != 0])
                assert (small >= np.finfo(np.float32).tiny).all(), (rate, channels, size)
    return True


def invalid_states(bundle):
    """An invalid state changes nothing."""
    plugin = pedalboard.load_plugin(str(bundle))
    plugin.parameters["trim_gain"].raw_value = 0.75
    silence = np.zeros((2, 512), np.float32)
    plugin.process(silence, 48000)
    whole = plugin.raw_state
    before = component_state(whole)
    for state in (b"", b"nonsense", whole[: len(whole) // 2], bytes(1000)):
        try:
            plugin.raw_state = state
        except Exception:  # The host may raise an error; only the state of the plugin matters.
            pass
        plugin.process(silence, 48000)
        assert component_state(plugin.raw_state) == before, state[:40]
    return True


def many(bundle):
    """Eight instances at once, each with its own setting."""
    plugins = [pedalboard.load_plugin(str(bundle)) for _ in range(8)]
    sound = np.full((2, 4800), 0.01, np.float32)
    for k, plugin in enumerate(plugins):
        plugin.parameters["bypass"].raw_value = float(k % 2)
        plugin.process(np.zeros((2, 64), np.float32), 48000)
    outs = [plugin.process(sound, 48000, reset=True) for plugin in plugins]
    return all(np.array_equal(out, outs[k % 2]) for k, out in enumerate(outs))


def main():
    bundle, folder = Path(sys.argv[1]), Path(sys.argv[2])
    passed = failed = 0
    for file in sorted(folder.glob("case-*.json")):
        case = json.loads(file.read_text())
        number = file.stem.split("-")[1]
        read = lambda kind: np.fromfile(folder / f"{kind}-{number}.f32", "<f4").reshape(case["channels"], -1)
        sound, expected = read("input"), read("output")
        got = hosted(bundle, case, sound, sizes(int(number)))
        # The host may return fewer frames, by the latency; compare the common frames, aligned.
        lost = expected.shape[1] - got.shape[1]
        want = expected[:, lost:]
        same = np.array_equal(got.view("<u4"), want.astype("<f4").view("<u4"))
        first = np.argmax((got.view("<u4") != want.astype("<f4").view("<u4")).any(axis=0)) if not same else None
        outcome = "equal" if same else f"differs from frame {first}, by at most {np.abs(got - want).max():g}"
        print(f"{case['channels']} channels at {case['rate']:g} Hz: {outcome} ({lost} frames of latency omitted)")
        passed, failed = passed + same, failed + (not same)
    for check in (states, texts, invalid_signals, invalid_states, many):
        try:
            ok = check(bundle)
            print(f"{check.__name__}: {'passed' if ok else 'failed'}")
        except AssertionError as error:
            ok = False
            print(f"{check.__name__}: failed: {error}")
        passed, failed = passed + ok, failed + (not ok)
    print(f"{passed} passed, {failed} failed")
    sys.exit(failed > 0)


if __name__ == "__main__":
    main()
