"""The contour of real recordings against librosa's pYIN (Mauch & Dixon, ICASSP 2014) and Praat's autocorrelation
(Boersma, IFA Proceedings 17, 1993).

Runs `target/release/fingertape contour TAKE --instrument NAME --format csv` on every npm note (first 3 s of each).
Both references may look from four semitones below the pitch in the file's name to four above, so their octave is
the name's (cello `As4.wav` really is B4, `E2.wav` 43 cents flat: both within that reach). A frame counts where
both references are voiced and agree within 20 cents.
"""
import csv
import glob
import io
import os
import re
import subprocess
import sys
import tempfile

import librosa
import numpy as np
import parselmouth
import soundfile

RATE, HOP, SECONDS = 44100, 441, 3
NAMES = {"C": 0, "Cs": 1, "D": 2, "Ds": 3, "E": 4, "F": 5, "Fs": 6, "G": 7, "Gs": 8, "A": 9, "As": 10, "B": 11}
ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
PROGRAM = os.environ.get("FINGERTAPE_CONTOUR", os.path.join(ROOT, "target", "release", "fingertape"))


def heard(path, instrument):
    """Hertz by frame, NaN where unvoiced."""
    table = subprocess.run([PROGRAM, "contour", path, "--instrument", instrument, "--format", "csv"],
                           check=True, capture_output=True, text=True).stdout
    rows = list(csv.DictReader(io.StringIO(table)))
    for index, row in enumerate(rows):
        assert abs(float(row["time_s"]) - index / 100) < 1e-6, f"{path}: row {index} is at {row['time_s']} s"
    return np.array([float(row["hz"]) if row["hz"] else np.nan for row in rows])


def references(samples, hertz):
    """pYIN's and Praat's hertz by frame, NaN where unvoiced."""
    low, high = hertz * 2 ** (-4 / 12), hertz * 2 ** (4 / 12)
    count = len(samples) // HOP + 1
    window = 2048 if hertz > 180 else 4096 if hertz > 60 else 8192
    pyin = librosa.pyin(samples, fmin=low, fmax=high, sr=RATE, frame_length=window, hop_length=HOP, resolution=0.05)[0]
    praat = parselmouth.Sound(samples, RATE).to_pitch_ac(time_step=0.01, pitch_floor=max(low, 25.0), pitch_ceiling=high)
    praat = np.array([praat.get_value_at_time(index / 100) for index in range(count)], float)
    return np.resize(pyin, count), praat


def main():
    failed = False
    for kind, instrument in (("violin", "violin"), ("cello", "cello"), ("contrabass", "bass")):
        folder = os.path.join(ROOT, "target", "outside", "npm", "node_modules", f"tonejs-instrument-{kind}-wav")
        paths = sorted(glob.glob(os.path.join(folder, "*.wav")))
        assert len(paths) > 10, f"no recordings in {folder}"
        cents, lost = [], []
        for path in paths:
            found = re.match(r"([A-G]s?)(\d)", os.path.basename(path))
            hertz = 440.0 * 2 ** ((NAMES[found[1]] + 12 * (int(found[2]) + 1) - 69) / 12)
            samples, rate = soundfile.read(path)
            assert rate == RATE
            samples = (samples if samples.ndim == 1 else samples.mean(axis=1))[: SECONDS * RATE]
            with tempfile.TemporaryDirectory() as scratch:
                take = os.path.join(scratch, "take.wav")
                soundfile.write(take, samples, RATE, subtype="PCM_16")
                ours = heard(take, instrument)
            pyin, praat = references(samples, hertz)
            count = min(len(ours), len(pyin), len(praat))
            ours, pyin, praat = ours[:count], pyin[:count], praat[:count]
            with np.errstate(invalid="ignore"):
                agreed = np.abs(1200 * np.log2(pyin / praat)) < 20
            apart = 1200 * np.log2(ours[agreed] / praat[agreed])
            if agreed.sum() > 20 and not abs(np.nanmedian(apart)) < 10:
                lost.append(f"{os.path.basename(path)} {np.nanmedian(apart):+.0f} c")
            cents.append(np.where(np.isnan(apart), np.inf, np.abs(apart)))
        apart = np.concatenate(cents)
        within = {limit: 100 * np.mean(apart <= limit) for limit in (50, 10, 5)}
        good = not lost and within[50] >= 99.0 and within[10] >= 97.0
        failed |= not good
        print(f"{'ok  ' if good else 'FAIL'} pitch, {len(paths)} {kind} notes, {len(apart)} frames where pYIN and Praat agree: "
              f"within 50 c {within[50]:.2f} % (>= 99), 10 c {within[10]:.2f} % (>= 97), 5 c {within[5]:.2f} %; "
              f"notes over 10 c off: {', '.join(lost) or 'none'}")
    sys.exit(failed)


main()
