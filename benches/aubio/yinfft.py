"""Seconds that aubio's yinfft (window 4096, hop 441) takes for so many seconds of sound: the best of five."""
import sys
import time

import aubio
import numpy as np

RATE, HOP = 44100, 441
frames = int(sys.argv[1]) * RATE // HOP
clock = np.arange(frames * HOP) / RATE
tone = (0.3 * ((clock * 220.0) % 1.0 - 0.5)).astype(np.float32)
hops = [tone[at * HOP:(at + 1) * HOP] for at in range(frames)]
best = float("inf")
for _ in range(5):
    detector = aubio.pitch("yinfft", 4096, HOP, RATE)
    start = time.perf_counter()
    for hop in hops:
        detector(hop)
    best = min(best, time.perf_counter() - start)
print(best)
