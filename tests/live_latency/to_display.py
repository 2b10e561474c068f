#!/usr/bin/env python3
"""How long after a note begins its name is on the screen: the whole way through the sound library, the program and a
terminal, in real time. Notes follow each other from finger to finger; the clock starts when the block with a note's
first sample is handed to the sound library, and ends when the terminal has received its name.

Usage: to_display.py PROGRAM (Linux, no sound card needed). Prints a table; it is a measurement and judges nothing.
"""
import array
import fcntl
import math
import os
import pty
import re
import select
import statistics
import sys
import tempfile
import termios
import struct
import threading
import time

RATE, BLOCK = 48_000, 480
NOTES = {
    "violin": ["D4", "A4", "E5", "B4", "F4", "G4", "D5", "C5"],
    "viola": ["C3", "G3", "D4", "A3", "E4", "F3", "C4", "G4"],
    "cello": ["C2", "G2", "D3", "A2", "E3", "F2", "C3", "G3"],
    "bass": ["E2", "B2", "F2", "A2", "E3", "G2", "D3", "C3"],
}
LENGTH = 0.5137
ROUNDS = 6


def hertz(name, instrument):
    midi = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[name[0]] + 12 * (int(name[1]) + 1)
    return 440 * 2 ** ((midi - 69 - (12 if instrument == "bass" else 0)) / 12)


def sound(instrument):
    samples, onsets = array.array("f", bytes(4 * RATE * 3)), []
    for name in NOTES[instrument] * ROUNDS:
        onsets.append((len(samples), name))
        f = hertz(name, instrument)
        harmonics = [k for k in range(1, 13) if k * f < 0.4 * RATE]
        for n in range(int(LENGTH * RATE)):
            shape = min(1, n / (0.01 * RATE), (LENGTH * RATE - n) / (0.01 * RATE))
            t = 2 * math.pi * f * n / RATE
            samples.append(0.12 * shape * sum(math.sin(k * t) / k for k in harmonics))
    return samples, onsets


def measure(program, instrument):
    samples, onsets = sound(instrument)
    with tempfile.TemporaryDirectory() as folder:
        fifo, conf = f"{folder}/microphone", f"{folder}/asound.conf"
        os.mkfifo(fifo)
        device = f'{{ type file slave.pcm "null" file "/dev/null" infile "{fifo}" format "raw" }}'
        with open(conf, "w") as file:
            file.write(f"</usr/share/alsa/alsa.conf>\npcm.!default {device}\n")
        with open(f"{folder}/m.toml", "w") as file:
            # A long melody of one note that is never played: what is written must not help.
            file.write(f'instrument = "{instrument}"\nbpm = 60\nbars = """\n' + "F#3 w\n" * 16 + '"""\n')
        pipe = os.open(fifo, os.O_RDWR)
        fcntl.fcntl(pipe, 1031, 4096)
        written = []

        def feed():
            start, frame = None, 0
            raw = samples.tobytes() + bytes(4 * RATE * 30)
            try:
                while True:
                    os.write(pipe, raw[4 * frame : 4 * (frame + BLOCK)] or bytes(4 * BLOCK))
                    now = time.monotonic()
                    frame += BLOCK
                    if frame <= 4 * BLOCK or start + frame / RATE < now - 0.05:
                        start = now - frame / RATE
                    written.append(now)
                    time.sleep(max(0, start + frame / RATE - now))
            except OSError:
                pass

        pid, terminal = pty.fork()
        if pid == 0:
            os.environ.update(ALSA_CONFIG_PATH=conf, TERM="xterm")
            time.sleep(0.3)
            os.execv(program, [program, "record", f"{folder}/m.toml", "--silent-count", "--level-check", "0", "--bpm",
                               "300", "--book", f"{folder}/book"])
        fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        threading.Thread(target=feed, daemon=True).start()
        shown, began = [], time.monotonic()
        while time.monotonic() - began < 5 + LENGTH * len(onsets):
            if select.select([terminal], [], [], 0.2)[0]:
                try:
                    text = os.read(terminal, 65536).decode("utf-8", "replace")
                except OSError:
                    break
                now = time.monotonic()
                shown += [(now, name) for name in re.findall(r"you play   ([A-G][#b]?\d)", text)]
        os.kill(pid, 9)
        os.waitpid(pid, 0)
        os.close(terminal)
    delays = []
    for (at, name), (after, _) in zip(onsets, onsets[1:] + [(onsets[-1][0] + int(LENGTH * RATE), "")]):
        # A device delivers a block when it is full; the block's time is when its first sample was played.
        start = written[at // BLOCK] - BLOCK / RATE + at % BLOCK / RATE
        end = start + (after - at) / RATE
        seen = [when for when, said in shown if said == name and start < when < end]
        delays.append(1000 * (seen[0] - start) if seen else None)
    heard = sorted(delay for delay in delays if delay is not None)
    print(f"| {instrument} | {len(heard)} of {len(delays)} | {statistics.median(heard):.0f} ms "
          f"| {heard[int(0.95 * (len(heard) - 1))]:.0f} ms | {heard[-1]:.0f} ms |")


if __name__ == "__main__":
    print("| instrument | notes seen | half of them | 95 % | slowest |\n|---|---|---|---|---|")
    for one in NOTES:
        measure(sys.argv[1], one)
