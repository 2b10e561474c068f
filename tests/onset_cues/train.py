"""Trains the onset model on takes with known truth and writes src/segment/onset_weights.rs.

    cargo run --release --example accuracy -- make --out TAKES --takes 840 --seed 31 --half tune
    cargo run --release --example judge_folder -- TAKES CUES
    target/outside/venv/bin/python tests/onset_cues/train.py TAKES CUES

The mean of the log odds of several networks with one hidden layer of 24 (tanh) each, on cues that are each about
0 to 1: enough to know that a dip means less where the level is restless anyway. One of them alone finds fewer
of the onsets that are hard to hear; together they are still one network with one hidden layer. Prints
cross-validated figures, grouped by take. The random starts are fixed.
"""

import csv
import glob
import json
import os
import sys

import numpy as np
from joblib import Parallel, delayed
from sklearn.metrics import roc_auc_score
from sklearn.model_selection import GroupKFold
from sklearn.neural_network import MLPClassifier

HIDDEN = 24
STARTS = range(1, 7)
# An onset is labelled at one candidate within these limits, in seconds from the moment the level comes within
# 12 dB of the body: in the first round at the nearest to USUAL (the change itself lies a little before that
# moment), in later rounds at the one that the round before found likeliest.
BEFORE, AFTER, USUAL = 0.13, 0.07, -0.015
# Other candidates this close to an onset are neither onset nor not.
UNCLEAR = (-0.17, 0.12)
ROUNDS = 3


def read(takes, cues):
    """Each take as (number, names, times, cues, notes)."""
    for path in sorted(glob.glob(os.path.join(takes, "*.truth.json"))):
        truth = json.load(open(path))
        # Abandoned attempts have notes that the truth does not list.
        if truth["restarts"] or truth["outcome"] != "judged":
            continue
        rows = list(csv.reader(open(os.path.join(cues, truth["take"] + ".cues.csv"))))
        values = np.array(rows[1:], float)
        notes = [n for n in truth["notes"] + truth["extra"] if n["onset_s"] is not None]
        yield int(truth["take"]), rows[0][2:], values[:, 0], values[:, 2:], notes


def label(times, notes, likely):
    """Which candidates are onsets, which are known at all, and what kind of onset each is."""
    onset = np.zeros(len(times))
    known = np.zeros(len(times), bool)
    kinds = np.array(["-"] * len(times), dtype="U12")
    for n in notes:
        known |= (times > n["onset_s"] - 0.05) & (times < n["offset_s"] + 0.5)
    for n in notes:
        away = times - n["onset_s"]
        known &= ~((away > UNCLEAR[0]) & (away < UNCLEAR[1]))
    for n in notes:
        away = times - n["onset_s"]
        near = [k for k in range(len(times)) if -BEFORE < away[k] < AFTER and not onset[k]]
        if near:
            distance = np.abs(away - USUAL)
            k = min(near, key=lambda k: distance[k] if likely is None else distance[k] * 15 - likely[k])
            onset[k], known[k] = 1, True
            kinds[k] = (n.get("join") or "extra").split()[0]
    return onset, known, kinds


def model(start):
    return MLPClassifier(
        (HIDDEN,), activation="tanh", alpha=0.05, max_iter=150, random_state=start, learning_rate_init=3e-3, batch_size=256
    )


def fitted(z, y):
    """A network from each start."""
    return Parallel(n_jobs=2)(delayed(model(start).fit)(z, y) for start in STARTS)


def log_odds(nets, z):
    """The mean of what the networks say."""
    said = 0
    for net in nets:
        said += np.tanh(z @ net.coefs_[0] + net.intercepts_[0]) @ net.coefs_[1][:, 0] + net.intercepts_[1][0]
    return said / len(nets)


def main():
    takes, cues = sys.argv[1:3]
    parts = list(read(takes, cues))
    names = parts[0][1]
    everything = np.vstack([p[3] for p in parts])
    mean, scale = everything.mean(0), everything.std(0) + 1e-6

    nets = None
    for _ in range(ROUNDS):
        labelled = []
        for number, _, times, values, notes in parts:
            likely = None
            if nets is not None:
                likely = np.clip(log_odds(nets, (values - mean) / scale), -9, 9)
            onset, known, kinds = label(times, notes, likely)
            labelled.append((values[known], onset[known], kinds[known], np.full(known.sum(), number)))
        z = (np.vstack([p[0] for p in labelled]) - mean) / scale
        y = np.concatenate([p[1] for p in labelled])
        kinds = np.concatenate([p[2] for p in labelled])
        groups = np.concatenate([p[3] for p in labelled])
        nets = fitted(z, y)

    guess = np.zeros(len(y))
    for train, test in GroupKFold(5).split(z, y, groups):
        guess[test] = 1 / (1 + np.exp(-log_odds(fitted(z[train], y[train]), z[test])))
    limit = np.percentile(guess[y == 0], 99)
    recall = {k: round(float((guess[(y == 1) & (kinds == k)] > limit).mean()), 3) for k in sorted(set(kinds) - {"-"})}
    print(f"{len(parts)} takes, {int(y.sum())} onsets, {int((1 - y).sum())} others")
    print(f"cross-validated: area under the curve {roc_auc_score(y, guess):.4f}, recall at 1 % false: {recall}")
    for low, high in ((0, 0.02), (0.02, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 0.9), (0.9, 0.98), (0.98, 1)):
        here = (guess >= low) & (guess <= high)
        if here.any():
            print(f"  said {low}–{high}: {here.sum()} of which onsets {y[here].mean():.3f}")

    # Fold the standardisation into the first layer.
    w1 = np.vstack([(net.coefs_[0] / scale[:, None]).T for net in nets])
    b1 = np.concatenate([net.intercepts_[0] for net in nets]) - w1 @ mean
    w2 = np.concatenate([net.coefs_[1][:, 0] for net in nets]) / len(nets)
    b2 = np.mean([net.intercepts_[1][0] for net in nets])

    def row(values):
        return ", ".join(f"{v:.4f}" for v in values)

    with open("src/segment/onset_weights.rs", "w") as out:
        out.write("//! Weights of the onset model, written by `tests/onset_cues/train.py`; not edited by hand.\n\n")
        out.write("#![allow(clippy::approx_constant)]\n\n")
        out.write(f"/// Cues in, in the order of `Features::NAMES`.\npub const CUES: usize = {len(names)};\n")
        out.write(f"/// Hidden units.\npub const HIDDEN: usize = {len(w2)};\n")
        out.write("/// One row a hidden unit: a weight a cue.\n#[rustfmt::skip]\n")
        out.write("pub const FIRST: [[f64; CUES]; HIDDEN] = [\n")
        for values in w1:
            out.write(f"    [{row(values)}],\n")
        out.write("];\n")
        out.write(f"/// Bias of each hidden unit.\n#[rustfmt::skip]\npub const FIRST_BIAS: [f64; HIDDEN] = [{row(b1)}];\n")
        out.write(f"/// Weight of each hidden unit.\n#[rustfmt::skip]\npub const SECOND: [f64; HIDDEN] = [{row(w2)}];\n")
        out.write(f"/// Bias of the output.\npub const SECOND_BIAS: f64 = {b2:.4f};\n")


if __name__ == "__main__":
    main()
