"""Takes whose truth is known, with what the program heard in them."""

import csv
import glob
import json
import os

import numpy as np

# An onset is labelled at one candidate within these limits, in seconds from the moment the level comes within
# 12 dB of the body: in the first round at the nearest to USUAL (the change itself lies a little before that
# moment), in later rounds at the one that the round before found likeliest.
BEFORE, AFTER, USUAL = 0.13, 0.07, -0.015
# Other candidates this close to an onset are neither onset nor not.
UNCLEAR = (-0.17, 0.12)


def finished_takes(folders):
    """The truth of each take that can be learnt from and the start of its files' names in CUES: abandoned attempts have
    notes that the truth does not list. `folders` are TAKES and CUES, one after the other."""
    for takes, cues in zip(folders[::2], folders[1::2]):
        for path in sorted(glob.glob(os.path.join(takes, "*.truth.json"))):
            truth = json.load(open(path))
            if not truth["restarts"] and truth["outcome"] == "judged":
                yield truth, os.path.join(cues, truth["take"])


def candidates(files):
    """Times of the candidates of a take, the log odds that were said and the cues."""
    rows = list(csv.reader(open(files + ".cues.csv")))
    values = np.array(rows[1:], float)
    return values[:, 0], values[:, 1], values[:, 2:]


def played_notes(truth):
    """Every note that was played, written or not."""
    return [n for n in truth["notes"] + truth["extra"] if n["onset_s"] is not None]


def label(times, notes, likely, same_onset=None):
    """Which candidates are onsets, which are known at all, and what kind of onset each is. Where `same_onset` is given,
    candidates further than that from the labelled one, in seconds, are known: they are none."""
    onset = np.zeros(len(times))
    known = np.zeros(len(times), bool)
    kinds = np.array(["-"] * len(times), dtype="U12")
    for n in notes:
        known |= (times > n["onset_s"] - 0.05) & (times < n["offset_s"] + 0.5)
    before = None
    for n in sorted(notes, key=lambda n: n["onset_s"]):
        away = times - n["onset_s"]
        near = [k for k in range(len(times)) if -BEFORE < away[k] < AFTER and not onset[k]]
        beside = (away > UNCLEAR[0]) & (away < UNCLEAR[1])
        if near:
            distance = np.abs(away - USUAL)
            k = min(near, key=lambda k: distance[k] if likely is None else distance[k] * 15 - likely[k])
            onset[k] = known[k] = 1
            same = before is not None and abs((before["played_midi"] or 0) - (n["played_midi"] or 99)) < 0.6
            kinds[k] = "same pitch" if same else "other"
            if same_onset is not None:
                beside = np.abs(times - times[k]) < same_onset
        known &= ~(beside & (onset == 0))
        before = n
    return onset, known, kinds


def print_figures(said, onset, kinds):
    """How well log odds tell the onsets from the others."""
    surprise = np.mean(np.logaddexp(0, np.where(onset == 1, -said, said)))
    print(f"{int(onset.sum())} onsets, {int((1 - onset).sum())} others: surprise {surprise:.4f} nats")
    for false in (0.001, 0.003, 0.01):
        limit = np.quantile(said[onset == 0], 1 - false)
        found = {k: round(float((said[kinds == k] > limit).mean()), 3) for k in ("same pitch", "other")}
        print(f"  found at {100 * false:.1f} % false: {found}")
    share = 1 / (1 + np.exp(-said))
    for low, high in ((0, 0.02), (0.02, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 0.9), (0.9, 0.98), (0.98, 1)):
        here = (share >= low) & (share <= high)
        if here.any():
            print(f"  said {low}–{high}: {here.sum()} of which onsets {onset[here].mean():.3f}")
