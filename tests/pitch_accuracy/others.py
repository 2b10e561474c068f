"""Praat's autocorrelation (parselmouth, pitch 30-2500 Hz) on the tones that `pitch_accuracy -- exact --write DIR` wrote.

Usage: others.py DIR. Prints the same shares as our own table: frames within so many cents, in percent.
"""
import collections
import glob
import os
import sys

import numpy as np
import parselmouth

found = collections.defaultdict(list)
notes = collections.defaultdict(list)
for path in sorted(glob.glob(os.path.join(sys.argv[1], "*.hz.f32"))):
    truth = np.fromfile(path, np.float32)
    samples = np.fromfile(path.replace(".hz.f32", ".f32"), np.float32).astype(float)
    pitch = parselmouth.Sound(samples, 44100).to_pitch_ac(time_step=0.01, pitch_floor=30.0, pitch_ceiling=2500.0)
    condition = os.path.basename(path).rsplit("-", 1)[0]
    own = []
    for index in range(0, len(truth) // 441):
        if truth[index * 441] > 0:
            heard = pitch.get_value_at_time(index / 100)
            own.append(abs(1200 * np.log2(heard / truth[index * 441])) if heard > 0 else np.inf)
    found[condition] += own
    notes[condition].append(np.median(own))
for condition, cents in found.items():
    cents = np.array(cents)
    print(f"Praat AC  {condition:<12} " + "  ".join(f"R{limit} {100 * np.mean(cents <= limit):.2f}" for limit in (50, 10, 5, 2))
          + f"  note-p95 {np.percentile(notes[condition], 95):.3f}")
