#!/usr/bin/env python3
"""Scores of the de-reverb on dry recorded voices in image-method rooms, by libraries that share no code with it.

    cargo build --profile optimised -p voicechain-tests --bin strip_raw
    mkdir -p target/voices && target/optimised/strip_raw --voices target/voices   # recordings: see tests/recordings
    pip install numpy==2.4.6 scipy==1.17.1 pyroomacoustics==0.10.1 pesq==0.0.4 pystoi==0.4.1
    python3 tests/standards/de_reverb.py target/optimised/strip_raw target/voices
            [--voices N] [--subset Evaluation|Development] [--known] [--only high|low] [--quiet DB] [--published]
            [--ideal] [--distance M] [--file] [--short] [--late-known MS] [--last]
    python3 tests/standards/de_reverb.py target/optimised/strip_raw target/voices --write

By default the script measures every reverberant voice, proposes settings for it and runs their de-reverb alone, at the
high and at the low latency of the spectral stages. The de-reverb then works as in real-time playback. Options:

--file        The de-reverb analyses the recording beforehand, as in a program for files.
--known       The settings hold the decay time of the impulse response instead of the proposed one.
--published   Runs the published method instead (`published`, written from the papers), with the known decay time.
--ideal       Runs a Wiener gain with a floor of -12 dB that knows the powers of reference and late sound in every frame:
              the bound for such a gain without any error of estimation.
--late-known  Runs the gain of the published method with the known power of the late sound in every band, smoothed over
              this time in ms.
--voices      Number of voices, spread evenly over the list.
--quiet       Least distance of speech and quietest tenth of a recording, dB (40). The noise of a recording belongs to the
              reference, so attenuating it would count as damage.
--distance    Distance of voice and microphone in every room, m.
--short       Fourteen rooms with a decay time of 0.27 s, and their mean.
--last        Scores the last 14 s instead of the first 14 s.
--write       Runs all of SERIES and writes their tables into tests/standards/DE_REVERB.md. `.ci/tables` tells whether
              they are up to date.

The voices are those of one subset whose sources have a bandwidth of at least 11 kHz. 36 s of each, or less if it is
shorter, are measured and processed. The decay time of a room is the T20 of its impulse response (ISO 3382, backward
integration).

The reference is the voice convolved with the direct sound and the 50 ms after it. Scores are changes against the
unprocessed voice in the room: segmental signal-to-reverberation ratio (32 ms frames, -10 to 35 dB; over all frames, and
over those whose reference is within 15.9 dB of its level), ESTOI (pystoi), PESQ wide-band (pesq), level in pauses (frames
of the dry voice under -40 dB of its level), and the level of the reference in these pauses, which is all late sound that
could be removed. Noise is pink, 20 dB under the voice in the room, and not part of the reference. Dry voices are compared
with themselves.
"""
import argparse
import glob
import multiprocessing
import subprocess
import sys
import tempfile
import warnings
from functools import cache
from pathlib import Path

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import fftconvolve, resample_poly

warnings.filterwarnings("ignore")
RATE = 48_000
# Size in m, decay time for which the walls are designed (Sabine) in s, distance of voice and microphone in m.
ROOMS = [((5, 4, 2.6), 0.28, 1.0), ((6, 5, 3), 0.49, 1.5), ((8, 6, 3.2), 0.7, 2.0), ((10, 8, 4), 1.03, 3.0)]
# The same for a measured decay time of 0.27 s: every size and distance that was tried.
SHORT = [
    ((3, 2.5, 2.4), 0.29, 0.6), ((3, 2.5, 2.4), 0.29, 1.2), ((4, 3, 2.5), 0.28, 0.6), ((4, 3, 2.5), 0.27, 1.2),
    ((4, 3, 2.5), 0.27, 2.0), ((5, 4, 2.6), 0.3, 0.6), ((5, 4, 2.6), 0.29, 1.2), ((5, 4, 2.6), 0.29, 2.0),
    ((6, 5, 3), 0.29, 0.6), ((6, 5, 3), 0.29, 1.2), ((6, 5, 3), 0.29, 2.0), ((8, 6, 3.2), 0.3, 0.6),
    ((8, 6, 3.2), 0.3, 1.2), ((8, 6, 3.2), 0.29, 2.0),
]  # fmt: skip
MEASURED_S, SCORED_S = 36, 14
SCORED = slice(0, SCORED_S * RATE)
SNR_DB = 20
NAMES = ["segmental, dB", "in active speech", "ESTOI", "PESQ", "pauses, dB", "reference's pauses, dB"]
# Targets: per room at the high latency, and ESTOI at the low one.
TARGETS = (
    "Targets at the high latency: +1.1 +1.9 +2.2 +3.3 dB; ESTOI .013 .045 .066 .084 (low latency .009 .038 .057 .072); "
    "PESQ .45 .46 .26 .13; pauses -6 -9.8 -9.5 -9 dB. Dry voices: PESQ 4.45 on average, 4.2 at least; ESTOI .998."
)
# What --write runs: heading and options.
SERIES = [
    ("Files", ["--file"]),
    ("Real-time playback", []),
    ("Real-time playback, the last 14 s", ["--last"]),
    ("Files, development recordings", ["--file", "--subset", "Development"]),
    ("Files, fourteen rooms with a decay time of 0.27 s", ["--file", "--short", "--only", "high"]),
    ("Published method, fourteen rooms with a decay time of 0.27 s", ["--published", "--short", "--only", "high"]),
    ("Published method, known decay time", ["--published", "--only", "high"]),
    ("Wiener gain that knows the late sound", ["--ideal", "--only", "high"]),
]


@cache
def room(number):
    """Impulse response at 48 kHz (made at 16 kHz: the scores end at 8 kHz), sample of the direct sound, and T20 in s."""
    import pyroomacoustics as pra

    size, design_s, distance = ROOMS[number]
    absorption, order = pra.inverse_sabine(design_s, size)
    box = pra.ShoeBox(size, fs=16_000, materials=pra.Material(absorption), max_order=min(order, 60))
    source = np.array([0.3 * size[0], 0.4 * size[1], 1.5])
    direction = np.array([np.cos(0.6), np.sin(0.6), 0.05])
    box.add_source(source)
    box.add_microphone(source + distance * direction / np.linalg.norm(direction))
    box.compute_rir()
    response = resample_poly(box.rir[0][0], 3, 1)
    direct = int(np.argmax(np.abs(response)))
    energy = np.cumsum(response[::-1] ** 2)[::-1]
    db = 10 * np.log10(energy / energy[0] + 1e-30)
    at = np.arange(len(db)) / RATE
    part = (db < -5) & (db > -25)
    slope = np.polyfit(at[part], db[part], 1)[0]
    return response / np.max(np.abs(response)), direct, -60 / slope


def frames(x, length=1_536):
    n = len(x) // length
    return x[: n * length].reshape(n, length)


def segmental(reference, x):
    """Mean over all frames, and over active ones."""
    r, e = frames(reference), frames(x - reference)
    power = (r**2).mean(1)
    ratio = np.clip(10 * np.log10(power / ((e**2).mean(1) + 1e-12) + 1e-12), -10, 35)
    active = power > 10**-1.59 * power[power > 1e-9].mean()
    return ratio.mean(), ratio[active].mean()


def pause_level(x, pauses):
    return 10 * np.log10((frames(x[SCORED])[pauses] ** 2).mean() + 1e-15)


def scores(reference, x, pauses):
    from pesq import pesq
    from pystoi import stoi

    level = pause_level(x, pauses)
    reference, x = reference[SCORED], x[SCORED]
    low = [resample_poly(s, 1, 3) for s in (reference, x)]
    try:
        quality = pesq(16_000, low[0].astype(np.float32), low[1].astype(np.float32), "wb")
    except Exception:  # a recording in which it finds no utterance
        quality = np.nan
    return np.array([*segmental(reference, x), stoi(low[0], low[1], 16_000, extended=True), quality, level])


def run(o, arguments, x):
    """Output of strip_raw: the samples and the text on its error output."""
    command = [o.strip, *arguments, *(["--file"] if o.file else [])]
    done = subprocess.run(command, input=x.astype("<f4").tobytes(), capture_output=True, check=True)
    return np.frombuffer(done.stdout, "<f4").astype(float), done.stderr.decode().strip()


@cache
def windows(analysis, synthesis):
    """Analysis window (a sine that rises over the frame and falls over half the synthesis window) and synthesis window.
    Their product is a Hann window."""
    n, rise = np.arange(analysis), analysis - synthesis // 2
    rising = np.where(n < rise, np.sin(np.pi * n / 2 / rise), np.cos(np.pi * (n - rise) / synthesis))
    hann = np.sin(np.pi * np.arange(synthesis) / synthesis) ** 2
    return rising, np.concatenate([np.zeros(analysis - synthesis), hann / rising[-synthesis:]])


def lengths(latency):
    """Analysis frame, synthesis window, hop; memory of the decision-directed ratio."""
    return (2_048, 1_024, 256, 0.87) if latency == "high" else (2_048, 512, 128, 0.90)


def spectra(latency, x):
    """Spectra of the stage's frames: hops by bins."""
    analysis, synthesis, hop, _ = lengths(latency)
    rising, _ = windows(analysis, synthesis)
    padded = np.concatenate([np.zeros(analysis), x, np.zeros(analysis)])
    return np.array([np.fft.rfft(padded[at : at + analysis] * rising) for at in range(0, len(padded) - analysis, hop)])


def sound(latency, frames_of, samples):
    """Inverse of `spectra`: overlap-add."""
    analysis, synthesis, hop, _ = lengths(latency)
    _, shaping = windows(analysis, synthesis)
    out = np.zeros(samples + 2 * analysis)
    for k, spectrum in enumerate(frames_of):
        out[k * hop : k * hop + analysis] += np.fft.irfft(spectrum) * shaping
    return out[analysis:][:samples] / 2


def decision_directed(latency, x, late):
    """Spectra x after a Wiener gain with the decision-directed ratio of Ephraim and Malah 1984 and a floor of -12 dB.
    `late` is the power of the late sound in every frame and bin."""
    memory = lengths(latency)[3]
    out, passed = np.empty_like(x), 0.0
    for k, (spectrum, unwanted) in enumerate(zip(x, late + 1e-14)):
        power = np.abs(spectrum) ** 2
        ratio = memory * passed / unwanted + (1 - memory) * np.maximum(power / unwanted - 1, 0)
        gain = np.maximum(ratio / (1 + ratio), 10**-0.6)
        passed = gain**2 * power
        out[k] = gain * spectrum
    return out


def published(latency, x, decay_s):
    """Late reverberation after Habets, Gannot, Cohen 2009, attenuated by `decision_directed`, with the constants that the
    targets were measured with. Noise is not attenuated."""
    hop = lengths(latency)[2]
    feed, factor, late_hops = (0.25, 1.0, 8) if latency == "high" else (0.15, 0.85, 16)
    kept, smooth_kept = 10 ** (-6 * hop / RATE / decay_s), np.exp(-hop / RATE / 0.012)
    frames_of = spectra(latency, x)
    reverberation = np.zeros(frames_of.shape)
    smooth = running = 0.0
    for k, power in enumerate(np.abs(frames_of) ** 2):
        running = kept * ((1 - feed) * running + feed * smooth)
        smooth = power + smooth_kept * (smooth - power)
        reverberation[k] = running
    # The first hops follow silence.
    late = factor * kept ** (late_hops - 1) * np.roll(reverberation, late_hops - 1, 0)
    late[: late_hops - 1] = 0.0
    return sound(latency, decision_directed(latency, frames_of, late), len(x))


def late_known(latency, reference, x, smoothed_ms):
    """`decision_directed` with the true power of all sound but the reference, smoothed over time."""
    late = np.abs(spectra(latency, x - reference)) ** 2
    hops = max(1, round(smoothed_ms * 1e-3 * RATE / lengths(latency)[2]))
    return sound(latency, decision_directed(latency, spectra(latency, x), uniform_filter1d(late, hops, axis=0)), len(x))


def ideal(latency, reference, x):
    """Wiener gain from the true powers, in the frames of the stage, with a floor of -12 dB."""
    early, late = spectra(latency, reference), spectra(latency, x - reference)
    gain = np.abs(early) ** 2 / (np.abs(early) ** 2 + np.abs(late) ** 2 + 1e-14)
    return sound(latency, np.maximum(gain, 10**-0.6) * (early + late), len(x))


def de_reverb(o, latency, x, decay_s):
    """x after the de-reverb, and its decay time in s (0: the de-reverb is not proposed)."""
    if o.published:
        return published(latency, x, decay_s), decay_s
    if not o.known:
        out, decay_ms = run(o, ["--de-reverb", latency], x)
        return out, float(decay_ms) / 1_000
    others = ["high_pass", "corrective_eq", "de_esser", "compressor", "tone_eq", "limiter"]
    with tempfile.NamedTemporaryFile("w", suffix=".toml") as file:
        file.write("".join(f"[{stage}]\non = false\n" for stage in others))
        file.write(f'[spectral]\nlatency = "{latency}"\n')
        file.write(f"[de_reverb]\non = true\ndecay_ms = {min(max(1_000 * decay_s, 100), 2_000):.1f}\n")
        file.flush()
        return run(o, [file.name, str(RATE)], x)[0], decay_s


def pink(samples, seed):
    """Noise with a power spectrum of 1/f from 20 Hz up, of power 1."""
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(samples))
    hz = np.fft.rfftfreq(samples, 1 / RATE)
    noise = np.fft.irfft(spectrum / np.sqrt(np.maximum(hz, 20.0)), samples)
    return noise / np.sqrt((noise**2).mean())


def voice_of(file):
    voice = np.fromfile(file, "<f4").astype(float)[: MEASURED_S * RATE]
    return voice * 0.05 / np.sqrt((voice**2).mean())


def range_db(file):
    """Level of the speech above the quietest tenth of a recording, dB."""
    level = np.sort((frames(voice_of(file)) ** 2).mean(1))
    speech = level[level > 10**-1.59 * level[level > 1e-9].mean()].mean()
    return 10 * np.log10(speech / (level[: len(level) // 10].mean() + 1e-15))


def pauses_of(voice):
    level = (frames(voice[SCORED]) ** 2).mean(1)
    pauses = level < 1e-4 * level[level > 1e-9].mean()
    return pauses if pauses.sum() >= 5 else level <= np.sort(level)[max(5, len(level) // 20)]


def in_room(number, file, seed, noisy):
    """The dry voice in a room: reference, recording, pauses."""
    voice = voice_of(file)
    response, direct, _ = room(number)
    early = response.copy()
    early[direct + RATE // 20 :] = 0
    n = len(voice)
    reference, wet = fftconvolve(voice, early)[:n], fftconvolve(voice, response)[:n]
    scale = 0.05 / np.sqrt((wet**2).mean())
    reference, wet = reference * scale, wet * scale
    if noisy:
        wet = wet + 0.05 * 10 ** (-SNR_DB / 20) * pink(n, seed)
    return reference, wet, pauses_of(voice)


def wet_case(o, number, file, seed, noisy, latencies):
    reference, wet, pauses = in_room(number, file, seed, noisy)
    was = scores(reference, wet, pauses)
    found = {}
    for latency in latencies:
        if o.ideal:
            out, decay = ideal(latency, reference, wet), room(number)[2]
        elif o.late_known is not None:
            out, decay = late_known(latency, reference, wet, o.late_known), room(number)[2]
        else:
            out, decay = de_reverb(o, latency, wet, room(number)[2])
        found[latency] = (scores(reference, out, pauses) - was, decay, pause_level(reference, pauses) - was[-1])
    return number, noisy, found


def dry_case(o, file):
    voice = voice_of(file)
    out, decay = de_reverb(o, "high", voice, 0.0)
    return scores(voice, out, pauses_of(voice)), decay


def spread(values):
    return f"{np.mean(values):.2f} {min(values):.2f} {max(values):.2f}"


def cells(values):
    segmental, active, estoi, quality, level, reference_level = values
    return f"| {segmental:+.1f} | {active:+.1f} | {estoi:+.3f} | {quality:+.2f} | {level:+.1f} | {reference_level:+.1f} |"


def work(case):
    kind, *arguments = case
    return kind(*arguments)


def print_scores(o):
    """Measures what the options ask for and prints the tables."""
    rate = lambda file: int(file.split("-")[-1][:-4])
    files = [f for f in sorted(glob.glob(f"{o.folder}/{o.subset}-*.f32")) if rate(f) >= 22_050]
    quiet = [f for f in files if range_db(f) >= o.quiet]
    if not quiet:
        sys.exit(f"{o.folder} has no quiet voices of the subset {o.subset}: see the head of de_reverb.py")
    count = min(o.voices or len(quiet), len(quiet))
    chosen = [quiet[k * len(quiet) // count] for k in range(count)]
    latencies = [o.only] if o.only else ["high", "low"]
    cases = [
        (wet_case, o, number, file, seed, noisy, latencies)
        for number in range(len(ROOMS))
        for seed, file in enumerate(chosen)
        for noisy in (False, True)
    ]
    rooms_alone = o.known or o.published or o.ideal or o.short or o.late_known is not None
    cases += [] if rooms_alone else [(dry_case, o, file) for file in files]
    with multiprocessing.Pool() as pool:
        results = pool.map(work, cases, chunksize=1)
    wet = [r for r in results if len(r) == 3]
    dry = [r for r in results if len(r) == 2]

    print(f"{len(chosen)} voices of the {o.subset.lower()} recordings.")
    for noisy in (False, True):
        for latency in latencies:
            print(f"\n{latency.capitalize()} latency, " + (f"{SNR_DB} dB of pink noise:" if noisy else "without noise:"))
            print("\n| T20 | decay time used: mean, least, most | " + " | ".join(NAMES) + " |")
            print("| --- " * (len(NAMES) + 2) + "|")
            means, all_used = [], []
            for number in range(len(ROOMS)):
                of = [found[latency] for at, with_noise, found in wet if (at, with_noise) == (number, noisy)]
                *changes, level = np.nanmean([change for change, *_ in of], 0)
                used = [decay for _, decay, _ in of]
                all_used += used
                means.append([*changes, level, np.mean([perfect for *_, perfect in of])])
                size, _, distance = ROOMS[number]
                place = f", {size[0]} × {size[1]} × {size[2]} m at {distance} m" if o.short else ""
                print(f"| {room(number)[2]:.2f} s{place} | {spread(used)} {cells(means[-1])}")
            if o.short:
                print(f"| mean | {spread(all_used)} {cells(np.mean(means, 0))}")
    if dry:
        values = np.array([value for value, _ in dry])
        acted = sum(decay > 0 for _, decay in dry)
        print(
            f"\n{len(dry)} dry voices, {acted} of them processed: PESQ {np.nanmean(values[:, 3]):.2f} on average, "
            f"{np.nanmin(values[:, 3]):.2f} at least; ESTOI {values[:, 2].mean():.4f} on average, "
            f"{values[:, 2].min():.4f} at least."
        )


def own_tables(*arguments, text=None):
    """Output of `.ci/tables`."""
    program = Path(__file__).resolve().parents[2] / ".ci/tables"
    command = [sys.executable, program, *arguments]
    return subprocess.run(command, input=text, stdout=subprocess.PIPE, text=True, check=True).stdout


def write_series(o):
    """Prints the tables of SERIES and writes them into DE_REVERB.md."""
    # Before the measurement: a source that changes during it makes the tables out of date.
    parts = [own_tables("--head", "de-reverb").strip(), TARGETS]
    for name, arguments in SERIES:
        command = [sys.executable, __file__, o.strip, o.folder, *arguments]
        scores_of = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout
        with_options = f" (`{' '.join(arguments)}`)" if arguments else ""
        parts.append(f"### {name}{with_options}\n\n{scores_of.strip()}")
        print(parts[-1] + "\n", flush=True)
    own_tables("--put", "de-reverb", text="\n\n".join(parts))


def main():
    options = argparse.ArgumentParser()
    options.add_argument("strip")
    options.add_argument("folder")
    options.add_argument("--voices", type=int)
    options.add_argument("--subset", choices=["Evaluation", "Development"], default="Evaluation")
    options.add_argument("--only", choices=["high", "low"])
    options.add_argument("--quiet", type=float, default=40)
    options.add_argument("--known", action="store_true")
    options.add_argument("--published", action="store_true")
    options.add_argument("--ideal", action="store_true")
    options.add_argument("--distance", type=float)
    options.add_argument("--file", action="store_true")
    options.add_argument("--short", action="store_true")
    options.add_argument("--late-known", type=float)
    options.add_argument("--last", action="store_true")
    options.add_argument("--write", action="store_true")
    o = options.parse_args()
    if o.write:
        if len(sys.argv) > 4:
            options.error("--write runs all of SERIES and takes no other options")
        write_series(o)
        return
    # Before the workers are forked.
    global SCORED
    SCORED = slice(-SCORED_S * RATE, None) if o.last else SCORED
    if o.short:
        ROOMS[:] = SHORT
    if o.distance:
        ROOMS[:] = [(size, design_s, o.distance) for size, design_s, _ in ROOMS]
    print_scores(o)


if __name__ == "__main__":
    main()
