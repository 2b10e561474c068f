"""Copies a folder of takes with known truth, each take's sound spoilt in one way, to see what a verdict hangs on.

    target/outside/venv/bin/python tests/accuracy/spoil_takes.py TAKES SPOILT HOW
    cargo run --profile quick --example judge_folder -- SPOILT OUT
    cargo run --profile quick --example accuracy -- score --dir SPOILT --reports OUT

HOW is one of the names in WAYS. The sheet and the truth stay as they are. Needs ffmpeg; the noise of a take is drawn from
its number (takes are called 000, 001 and so on), so the same takes give the same sounds.
"""

import pathlib
import shutil
import subprocess
import sys

import numpy as np
from scipy.signal import butter, fftconvolve, sosfilt

RATE = 44_100


def through(filters, sound):
    """The sound through ffmpeg's filters."""
    raw = ["-f", "f32le", "-ar", str(RATE), "-ac", "1"]
    command = ["ffmpeg", "-v", "error", *raw, "-i", "-", "-af", filters, *raw, "-"]
    done = subprocess.run(command, input=sound.astype(np.float32).tobytes(), capture_output=True, check=True)
    return np.frombuffer(done.stdout, np.float32).astype(float)


def noise(sound, random, below):
    """White noise so many dB below the sound."""
    return random.standard_normal(len(sound)) * np.sqrt(np.mean(sound**2)) * 10 ** (-below / 20)


def room(sound, random):
    """A room of 0.8 s, what it gives back 3 dB below the sound itself."""
    time = np.arange(int(0.9 * RATE)) / RATE
    answer = random.standard_normal(len(time)) * 10 ** (-3 * time / 0.8)
    answer[: int(0.004 * RATE)] = 0
    answer *= 0.7 / np.sqrt(np.sum(answer**2))
    answer[0] = 1
    return fftconvolve(sound, answer)[: len(sound)]


def hum(sound, random):
    """Mains hum of 50 Hz and its harmonics."""
    time = np.arange(len(sound)) / RATE
    lines = sum(np.sin(2 * np.pi * 50 * line * time + line) / line for line in (1, 2, 3, 4, 6))
    return sound + 0.12 * np.sqrt(np.mean(sound**2)) * lines


WAYS = {
    "room": room,
    "hum": hum,
    "white": lambda sound, random: sound + noise(sound, random, 17),
    "phone": lambda sound, random: sosfilt(butter(3, [250, 3800], "band", fs=RATE, output="sos"), sound),
    "dark": lambda sound, random: sosfilt(butter(2, 500, "low", fs=RATE, output="sos"), sound),
    "bright": lambda sound, random: 3 * np.diff(sound, prepend=0),
    "clipped": lambda sound, random: np.clip(3 * sound / np.abs(sound).max(), -0.98, 0.98),
    "levelled": lambda sound, random: through("dynaudnorm=f=150:g=7:p=0.7:m=20", sound),
    "compressed": lambda sound, random: through("acompressor=threshold=0.03:ratio=8:attack=5:release=80:makeup=6", sound),
    "denoised": lambda sound, random: through("afftdn=nr=20:nf=-35:tn=1", sound + noise(sound, random, 24)),
}


def sound_of(recording):
    raw = ["-ac", "1", "-ar", str(RATE), "-f", "f32le", "-"]
    done = subprocess.run(["ffmpeg", "-v", "error", "-i", recording, *raw], capture_output=True, check=True)
    return np.frombuffer(done.stdout, np.float32).astype(float)


def main():
    if len(sys.argv) != 4 or sys.argv[3] not in WAYS:
        sys.exit(f"{__doc__}\nHOW: {', '.join(WAYS)}")
    takes, spoilt, way = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), WAYS[sys.argv[3]]
    spoilt.mkdir(parents=True, exist_ok=True)
    for truth in sorted(takes.glob("*.truth.json")):
        name = truth.name.removesuffix(".truth.json")
        recording = next((file for file in takes.glob(f"{name}.*") if file.suffix in (".wav", ".m4a")), None)
        if recording is None:
            sys.exit(f"{truth}: no {name}.wav or {name}.m4a beside it")
        sound = way(sound_of(recording), np.random.default_rng(int(name)))
        sound /= max(1, 1.02 * np.abs(sound).max())
        for file in (truth, takes / f"{name}.musicxml"):
            shutil.copy(file, spoilt)
        raw = ["-f", "f32le", "-ar", str(RATE), "-ac", "1", "-i", "-"]
        command = ["ffmpeg", "-v", "error", "-y", *raw, spoilt / recording.name]
        subprocess.run(command, input=sound.astype(np.float32).tobytes(), check=True)


if __name__ == "__main__":
    main()
