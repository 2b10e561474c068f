"""Open strings of real recordings against Praat's autocorrelation (Boersma, IFA Proceedings 17, 1993).

Every npm note is given to `target/release/fingertape string --all --from NOTE --format json`. A string that it says
it heard steadily must be that note by Praat (median over the same stretch within 3 cents); a note that is no open
string must not be read as one; the open strings among the notes must be found, steady or with the remark that the
bow (here: the player's vibrato) was not.
"""
import glob
import json
import os
import subprocess
import sys
import tempfile

import numpy as np
import parselmouth
import soundfile

RATE, SECONDS = 44100, 4
ROOT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..")
PROGRAM = os.environ.get("FINGERTAPE_STRING", os.path.join(ROOT, "target", "release", "fingertape"))


def heard(path, instrument, string="--all"):
    """The JSON of one string or of all four."""
    done = subprocess.run([PROGRAM, "string", string, "--instrument", instrument, "--from", path, "--format", "json"],
                          capture_output=True, text=True)
    assert done.returncode in (0, 1), f"{path}: {done.stderr}"
    return json.loads(done.stdout)


def praat(samples, low, high, start=0.0, end=None):
    """Median hertz from `start` to `end` seconds, NaN where Praat hears no pitch."""
    track = parselmouth.Sound(samples, RATE).to_pitch_ac(time_step=0.01, pitch_floor=low, pitch_ceiling=high)
    times, hertz = track.xs(), track.selected_array["frequency"]
    inside = (times >= start) & (times <= (end if end is not None else times[-1])) & (hertz > 0)
    return float(np.median(hertz[inside])) if inside.any() else float("nan")


def cents(hertz, reference):
    return 1200 * np.log2(hertz / reference)


def main():
    failed = False
    for kind, instrument in (("violin", "violin"), ("cello", "cello"), ("contrabass", "bass")):
        folder = os.path.join(ROOT, "target", "outside", "npm", "node_modules", f"tonejs-instrument-{kind}-wav")
        paths = sorted(glob.glob(os.path.join(folder, "*.wav")))
        assert len(paths) > 10, f"no recordings in {folder}"
        apart, wrong, opened, missed, about, stopped = [], [], 0, [], 0, 0
        for path in paths:
            name = os.path.basename(path)
            samples, rate = soundfile.read(path)
            assert rate == RATE
            samples = (samples if samples.ndim == 1 else samples.mean(axis=1))[: SECONDS * RATE]
            with tempfile.TemporaryDirectory() as scratch:
                take = os.path.join(scratch, "take.wav")
                soundfile.write(take, samples, RATE, subtype="PCM_16")
                report = heard(take, instrument)
                asked = {row["string"]: heard(take, instrument, row["string"]) for row in report["strings"]}
            # Praat's ear around each string by itself, so that its octave cannot slip into another string's.
            for string in report["strings"]:
                should = string["should_be_hz"]
                whole = praat(samples, max(25.0, should * 2 ** (-5 / 12)), should * 2 ** (5 / 12))
                wide = praat(samples, max(25.0, should / 2.2), should * 2.2)
                is_open = abs(cents(whole, should)) < 30 and abs(cents(wide, should)) < 30
                opened += is_open
                if string["heard_hz"] is None:
                    if is_open and asked[string["string"]]["outcome"] == "swinging":
                        stopped += 1
                    elif is_open:
                        missed.append(f"{name} {string['string']}")
                    continue
                around = praat(samples, should * 2 ** (-5 / 12), should * 2 ** (5 / 12), string["from_s"], string["to_s"])
                if not is_open and abs(cents(wide, should)) > 80:
                    wrong.append(f"{name} as {string['string']}")
                elif string["steady"]:
                    apart.append(abs(cents(string["heard_hz"], around)))
                else:
                    about += 1
        good = not wrong and not missed and apart and max(apart) < 3.0
        failed |= not good
        print(f"{'ok  ' if good else 'FAIL'} open strings, {len(paths)} {kind} notes: {opened} at the pitch of an open string, "
              f"{len(apart)} read steadily, {about} about so, {stopped} stopped with vibrato; against Praat median {np.median(apart):.2f} c, most "
              f"{max(apart):.2f} c" + (f"; WRONG {wrong}" if wrong else "") + (f"; MISSED {missed}" if missed else ""))
    sys.exit(failed)


if __name__ == "__main__":
    main()
