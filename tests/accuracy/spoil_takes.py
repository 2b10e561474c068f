"""Copies a folder of takes with known truth, each take's sound spoilt in one way, to see what a verdict hangs on.

    target/outside/venv/bin/python tests/accuracy/spoil_takes.py TAKES SPOILT HOW [START]
    cargo run --profile quick --example judge_folder -- SPOILT OUT
    cargo run --profile quick --example accuracy -- score --dir SPOILT --reports OUT

HOW is one of the names in WAYS. The sheet and the truth stay as they are. Needs ffmpeg; the noise of a take is drawn from
its number (takes are called 000, 001 and so on) plus START (0), so the same takes give the same sounds.
"""

import pathlib
import shutil
import subprocess
import sys

import numpy as np
from scipy.ndimage import map_coordinates
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


def room(sound, random, seconds=0.8, below=3.1):
    """A room that rings for so long, until 60 dB are gone; what it gives back so many dB below the sound itself."""
    time = np.arange(int(1.125 * seconds * RATE)) / RATE
    answer = random.standard_normal(len(time)) * 10 ** (-3 * time / seconds)
    answer[: int(0.004 * RATE)] = 0
    answer *= 10 ** (-below / 20) / np.sqrt(np.sum(answer**2))
    answer[0] = 1
    return fftconvolve(sound, answer)[: len(sound)]


def microphone(sound, random):
    """Through a microphone that nobody built: its response a slope and some hills and hollows, of minimum phase, which
    the cepstrum gives (Oppenheim and Schafer, Discrete-Time Signal Processing)."""
    octaves = np.log2(np.maximum(np.fft.rfftfreq(1 << 14, 1 / RATE), 40) / 440)
    decibels = random.uniform(-4, 3) * octaves
    for _ in range(random.integers(3, 9)):
        height, middle, width = random.uniform(-9, 9), random.uniform(-2.5, 4.5), random.uniform(0.1, 0.7)
        decibels += height * np.exp(-0.5 * ((octaves - middle) / width) ** 2)
    cepstrum = np.fft.irfft(np.clip(decibels, -35, 18) * np.log(10) / 20)
    cepstrum[1 : len(cepstrum) // 2] *= 2
    cepstrum[len(cepstrum) // 2 + 1 :] = 0
    return fftconvolve(sound, np.fft.irfft(np.exp(np.fft.rfft(cepstrum))))[: len(sound)]


def pink(size, random):
    """Noise with as much power in every octave above 30 Hz."""
    lines = np.fft.rfft(random.standard_normal(size))
    hertz = np.fft.rfftfreq(size, 1 / RATE)
    noise = np.fft.irfft(lines / np.sqrt(np.maximum(hertz, 30)), size)
    return noise / noise.std()


def swaying(size, random, slowest, fastest):
    """A wave from −1 to 1 that sways at a rate between two, in hertz, which is never quite the same."""
    knots = random.uniform(slowest, fastest, size // RATE + 2)
    hertz = np.interp(np.arange(size) / RATE, np.arange(len(knots)), knots)
    return np.sin(2 * np.pi * (np.cumsum(hertz) / RATE + random.random()))


def unsteady(sound, random):
    """Played with a bow that presses now more and now less, and a finger that sways: levels by up to 3 dB and pitches by
    up to 12 cents either way, which moves no onset by 3 ms."""
    size = len(sound)
    level = random.uniform(0, 2) * swaying(size, random, 0.7, 3) + random.uniform(0, 1) * swaying(size, random, 3, 7)
    cents = random.uniform(0, 6) * swaying(size, random, 0.5, 2) + random.uniform(0, 6) * swaying(size, random, 4, 7)
    read = np.cumsum(2 ** (cents / 1200))
    sound = map_coordinates(sound, [np.clip(read - read[0], 0, size - 1)], order=3)
    return sound * 10 ** (level / 20)


def anyhow(sound, random):
    """Some other microphone, and perhaps a less steady hand, a room, a narrow band, a recorder that compresses, noise: what
    the onset networks are trained on besides the takes as they are. Where the hand is less steady the truth's cents are
    no longer true."""
    if random.random() < 0.5:
        sound = unsteady(sound, random)
    sound = microphone(sound, random)
    if random.random() < 0.5:
        sound = room(sound, random, random.uniform(0.25, 1.0), random.uniform(1, 12))
    if random.random() < 0.25:
        band = random.uniform(60, 280), random.uniform(2500, 6000)
        sound = sosfilt(butter(2, band, "band", fs=RATE, output="sos"), sound)
    if random.random() < 0.25:
        ratio, attack, release = random.integers((3, 3, 60), (9, 20, 250))
        compressor = f"acompressor=threshold=0.03:ratio={ratio}:attack={attack}:release={release}:makeup=4"
        sound = through(compressor, 0.7 * sound / np.abs(sound).max())
    if random.random() < 0.5:
        kind = random.standard_normal(len(sound)) if random.random() < 0.5 else pink(len(sound), random)
        sound = sound + kind * sound.std() * 10 ** (-random.uniform(14, 32) / 20)
    return sound / np.abs(sound).max() * random.uniform(0.2, 0.9)


def hum(sound, random):
    """Mains hum of 50 Hz and its harmonics."""
    time = np.arange(len(sound)) / RATE
    lines = sum(np.sin(2 * np.pi * 50 * line * time + line) / line for line in (1, 2, 3, 4, 6))
    return sound + 0.12 * np.sqrt(np.mean(sound**2)) * lines


WAYS = {
    "anyhow": anyhow,
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
    if len(sys.argv) not in (4, 5) or sys.argv[3] not in WAYS:
        sys.exit(f"{__doc__}\nHOW: {', '.join(WAYS)}")
    start = int(sys.argv[4]) if len(sys.argv) == 5 else 0
    takes, spoilt, way = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), WAYS[sys.argv[3]]
    spoilt.mkdir(parents=True, exist_ok=True)
    for truth in sorted(takes.glob("*.truth.json")):
        name = truth.name.removesuffix(".truth.json")
        recording = next((file for file in takes.glob(f"{name}.*") if file.suffix in (".wav", ".m4a")), None)
        if recording is None:
            sys.exit(f"{truth}: no {name}.wav or {name}.m4a beside it")
        sound = way(sound_of(recording), np.random.default_rng(start + int(name)))
        sound /= max(1, 1.02 * np.abs(sound).max())
        for file in (truth, takes / f"{name}.musicxml"):
            shutil.copy(file, spoilt)
        raw = ["-f", "f32le", "-ar", str(RATE), "-ac", "1", "-i", "-"]
        command = ["ffmpeg", "-v", "error", "-y", *raw, spoilt / recording.name]
        subprocess.run(command, input=sound.astype(np.float32).tobytes(), check=True)


if __name__ == "__main__":
    main()
