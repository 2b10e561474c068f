"""Trains the two small models that move an onset and an offset from where the level says, on takes with known truth, and
writes src/segment/onset_shift_weights.rs and src/segment/offset_weights.rs.

    target/outside/venv/bin/python tests/training/train_times.py TAKES TAKES.cues

The folders are the first two of train_sound_networks.py: a borrowed voice's body rings on, as a room does, and its truth
does not know that.
Each learns how much later a right note that was called right began or ended than the level says, from the cues around that
moment. The mean of four networks with one hidden layer of 8; prints cross-validated figures, grouped by take. The
random starts are fixed.
"""

import csv
import json
import sys

import numpy as np
from joblib import Parallel, delayed
from sklearn.model_selection import GroupKFold
from sklearn.neural_network import MLPRegressor

from known_takes import candidates, finished_takes

HIDDEN, STARTS = 8, range(4)
# An onset is moved by at most so many seconds (src/segment/onset_shift.rs), an offset by so many
# (src/segment/offset_model.rs).
FURTHEST_ONSET, FURTHEST_OFFSET = 0.06, 0.2
# An onset further from its truth than this is another note's, in seconds.
ANOTHER_NOTE = 0.25
# The boundary that tells of an onset is not further from it than this.
NEAR = 0.15
# Boundaries with lower log odds are not looked at (LEAST_LIKELY in src/pipeline.rs).
LEAST_LIKELY = -5.0


def right_notes(truth, files):
    """Of the right notes that were called right: truth and what was said of each."""
    report = json.load(open(files + ".json"))
    said = {n["index"]: n for n in report["notes"] if n["verdict"] == "right"}
    for note in truth["notes"]:
        heard = said.get(note["index"])
        if note["verdict"] == "right" and heard and heard["onset_s"] is not None:
            if abs(note["onset_s"] - heard["onset_s"]) < ANOTHER_NOTE:
                yield note, heard


def onsets(folders):
    """Cues of the boundary nearest to each onset by the level and how far it is away, how much later the true onset is,
    and the take."""
    x, y, groups = [], [], []
    for truth, files in finished_takes(folders):
        times, likely, cues = candidates(files)
        kept = np.flatnonzero(likely > LEAST_LIKELY)
        for note, heard in right_notes(truth, files):
            onset = heard["onset_s"]
            near = kept[np.argmin(np.abs(times[kept] - onset))]
            if abs(times[near] - onset) < NEAR:
                x.append(np.append(cues[near], times[near] - onset))
                y.append(note["onset_s"] - onset)
                groups.append(files)
    return np.array(x), np.array(y), np.array(groups)


def offsets(folders):
    """Cues of each offset by the level, how much later the true one is, and the take."""
    x, y, groups = [], [], []
    for truth, files in finished_takes(folders):
        right = {note["index"]: note for note, _ in right_notes(truth, files)}
        for row in csv.reader(open(files + ".offsets.csv")):
            note = right.get(int(row[0]))
            if note is not None:
                x.append([float(v) for v in row[2:]])
                y.append(note["offset_s"] - float(row[1]))
                groups.append(files)
    return np.array(x), np.array(y), np.array(groups)


def regressions(z, y, furthest):
    """A network from each start for times of at most `furthest` seconds, in units of 50 ms."""
    wanted = np.clip(y, -furthest, furthest) * 20
    net = lambda start: MLPRegressor(
        hidden_layer_sizes=(HIDDEN,), activation="tanh", alpha=0.3, max_iter=300, random_state=start, early_stopping=True
    )
    return Parallel(n_jobs=2)(delayed(net(start).fit)(z, wanted) for start in STARTS)


def folded(nets, mean, scale):
    """One network for the mean of several, each (weights, biases, weights, bias), with the standardisation in the first
    layer."""
    w1 = np.vstack([(first / scale[:, None]).T for first, _, _, _ in nets])
    b1 = np.concatenate([bias for _, bias, _, _ in nets]) - w1 @ mean
    w2 = np.concatenate([second for _, _, second, _ in nets]) / len(nets)
    return w1, b1, w2, np.mean([bias for _, _, _, bias in nets])


def moving(what, x, y, groups, furthest):
    """Networks that move a time by `y`, at most `furthest` seconds, folded into one; prints how well they do, cross-validated."""
    mean, scale = x.mean(0), x.std(0) + 1e-6
    z = (x - mean) / scale
    guess = np.zeros(len(y))
    for train, test in GroupKFold(5).split(z, y, groups):
        guess[test] = np.mean([net.predict(z[test]) for net in regressions(z[train], y[train], furthest)], 0) / 20
    for name, left in (("by the level", y), ("moved", y - np.clip(guess, -furthest, furthest))):
        half, most = 1000 * np.percentile(np.abs(left), [50, 95])
        print(f"{what} of {len(y)} right notes {name}: median {half:.1f} ms, 95 % {most:.1f} ms")
    layers = lambda net: (net.coefs_[0], net.intercepts_[0], net.coefs_[1][:, 0], net.intercepts_[1][0])
    w1, b1, w2, b2 = folded([layers(net) for net in regressions(z, y, furthest)], mean, scale)
    return w1, b1, w2 / 20, b2 / 20


def written(out, prefix, what, cues, w1, b1, w2, b2):
    def row(values):
        return ", ".join(f"{v:.5f}" for v in values)

    out.write(f"/// {what}: cues in.\npub const {prefix}CUES: usize = {cues};\n")
    out.write(f"/// Hidden units.\npub const {prefix}HIDDEN: usize = {len(w2)};\n")
    out.write("/// One row a hidden unit: a weight a cue.\n#[rustfmt::skip]\n")
    out.write(f"pub static {prefix}FIRST: [[f64; {prefix}CUES]; {prefix}HIDDEN] = [\n")
    for values in w1:
        out.write(f"    [{row(values)}],\n")
    out.write("];\n")
    out.write(f"/// Bias of each hidden unit.\n#[rustfmt::skip]\npub static {prefix}FIRST_BIAS: [f64; {prefix}HIDDEN] = [{row(b1)}];\n")
    out.write(f"/// Weight of each hidden unit.\n#[rustfmt::skip]\npub static {prefix}SECOND: [f64; {prefix}HIDDEN] = [{row(w2)}];\n")
    out.write(f"/// Bias of the output.\npub const {prefix}SECOND_BIAS: f64 = {b2:.5f};\n")


def main():
    for name, what, path, find, furthest in (
        ("shift of an onset", "Seconds from the level's onset to the true one", "src/segment/onset_shift_weights.rs", onsets, FURTHEST_ONSET),
        ("offset model", "Seconds from the level's offset to the true one", "src/segment/offset_weights.rs", offsets, FURTHEST_OFFSET),
    ):
        x, y, groups = find(sys.argv[1:])
        weights = moving(name, x, y, groups, furthest)
        with open(path, "w") as out:
            out.write(f"//! Weights of the {name}, written by `tests/training/train_times.py`; not edited by hand.\n\n")
            out.write("#![allow(clippy::approx_constant)]\n\n")
            written(out, "", what, x.shape[1], *weights)


if __name__ == "__main__":
    main()
