#!/usr/bin/python3
"""Pitch every 10 ms by aubio (Debian python3-aubio): WAV METHOD WINDOW -> a float32 file of hertz, 0 unvoiced."""
import sys

import aubio
import numpy as np


def main():
    path, method, window, out = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
    samples = np.fromfile(path, dtype=np.float32)
    rate, hop = 44100, 441
    detector = aubio.pitch(method, window, hop, rate)
    detector.set_unit("Hz")
    # aubio reads the newest `window` samples, so a frame's centre is window/2 behind; pad to undo that.
    padded = np.concatenate([samples, np.zeros(window // 2 + hop, np.float32)])
    values = []
    for start in range(0, len(padded) - hop, hop):
        values.append(detector(padded[start:start + hop])[0])
    skip = int(round((window / 2) / hop)) - 1
    np.asarray(values[max(skip, 0):], np.float32).tofile(out)


main()
