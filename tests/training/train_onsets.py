"""Trains the onset model on takes with known truth and writes src/segment/onset_weights.rs.

    cargo run --profile quick --example accuracy -- make --out TAKES --takes 1600 --seed 32 --half tune
    cargo run --profile quick --example accuracy -- make --out OTHERS --takes 1600 --seed 33 --half tune --set borrowed
    TIMED_BY_LEVEL=1 cargo run --profile quick --example judge_folder -- TAKES CUES     # and OTHERS OTHER_CUES
    target/outside/venv/bin/python tests/training/train_onsets.py TAKES CUES OTHERS OTHER_CUES

The mean of the log odds of several networks with one hidden layer of 24 (tanh) each, on cues that are each about
0 to 1: enough to know that a dip means less where the level is restless anyway. One of them alone finds fewer
of the onsets that are hard to hear; together they are still one network with one hidden layer. Prints
cross-validated figures, grouped by take. The random starts are fixed.

That is the first look, at one candidate by itself; a second one of the same make has what its neighbours say of
themselves as well. A third, smaller one learns how far the true onset is from where the level says, of right notes
called right; from the first folder alone, because a borrowed voice's body rings on and its truth does not know that.
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
from sklearn.neural_network import MLPClassifier, MLPRegressor

HIDDEN = 24
STARTS = range(1, 7)
# The same for the third one; it moves an onset by at most FURTHEST seconds.
SHIFT_HIDDEN, SHIFT_STARTS, FURTHEST = 8, range(4), 0.06
# Boundaries with lower log odds are not looked at (LEAST_LIKELY in src/pipeline.rs).
LEAST_LIKELY = -5.0
# An onset is labelled at one candidate within these limits, in seconds from the moment the level comes within
# 12 dB of the body: in the first round at the nearest to USUAL (the change itself lies a little before that
# moment), in later rounds at the one that the round before found likeliest.
BEFORE, AFTER, USUAL = 0.13, 0.07, -0.015
# Stretches of time around a candidate (NEIGHBOURS in src/segment/boundaries.rs), log odds of one without a candidate.
NEIGHBOURS, NOBODY = (0.0475, 0.1025, 0.1825), -6.0
# Other candidates this close to an onset are neither onset nor not.
UNCLEAR = (-0.17, 0.12)
ROUNDS = 3
FOLDS = 3


def finished_takes(folders):
    """The truth of each take that can be learnt from and the start of its files' names in CUES: abandoned attempts have
    notes that the truth does not list. `folders` are TAKES and CUES, one after the other."""
    for takes, cues in zip(folders[::2], folders[1::2]):
        for path in sorted(glob.glob(os.path.join(takes, "*.truth.json"))):
            truth = json.load(open(path))
            if not truth["restarts"] and truth["outcome"] == "judged":
                yield truth, os.path.join(cues, truth["take"])


def read(folders):
    """Each take as (its files, names, times, cues, log odds said, notes)."""
    for truth, files in finished_takes(folders):
        rows = list(csv.reader(open(files + ".cues.csv")))
        values = np.array(rows[1:], float)
        notes = [n for n in truth["notes"] + truth["extra"] if n["onset_s"] is not None]
        yield files, rows[0][2:], values[:, 0], values[:, 2:], values[:, 1], notes


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


def both_looks(parts, mean, scale):
    """The networks of the first look, at one candidate's cues, and of the second, with the neighbours' log odds as well:
    each as (networks, mean, scale)."""
    nets = None
    for _ in range(ROUNDS):
        x, y = [], []
        for _, _, times, values, _, notes in parts:
            z = (values - mean) / scale
            likely = None if nets is None else np.clip(log_odds(nets, z), -9, 9)
            onset, known, _ = label(times, notes, likely)
            x.append(z[known])
            y.append(onset[known])
        nets = fitted(np.vstack(x), np.concatenate(y))
    first = nets, mean, scale
    x, y = [], []
    for _, _, times, values, _, notes in parts:
        alone = log_odds_alone(first, values)
        onset, known, _ = label(times, notes, alone)
        x.append(np.hstack([values, around(times, alone)])[known])
        y.append(onset[known])
    x, y = np.vstack(x), np.concatenate(y)
    wide_mean, wide_scale = x.mean(0), x.std(0) + 1e-6
    return first, (fitted((x - wide_mean) / wide_scale, y), wide_mean, wide_scale)


def log_odds_alone(first, values):
    """What `alone` in src/segment/onset_model.rs gives."""
    nets, mean, scale = first
    return np.clip(log_odds(nets, (values - mean) / scale), NOBODY, -NOBODY)


def shifts(parts):
    """For right notes called right: cues of the boundary nearest to the onset by the level and how far it is away,
    how much later the true onset is, and the take."""
    x, y, groups = [], [], []
    for files, _, times, values, likely, notes in parts:
        report = json.load(open(files + ".json"))
        said = {n["index"]: n for n in report["notes"] if n["verdict"] == "right"}
        kept = np.flatnonzero(likely > LEAST_LIKELY)
        for note in notes:
            onset = said.get(note.get("index"), {}).get("onset_s")
            if note.get("verdict") != "right" or onset is None or abs(note["onset_s"] - onset) > 0.25:
                continue
            near = kept[np.argmin(np.abs(times[kept] - onset))]
            if abs(times[near] - onset) < 0.15:
                x.append(np.append(values[near], times[near] - onset))
                y.append(note["onset_s"] - onset)
                groups.append(files)
    return np.array(x), np.array(y), np.array(groups)


def regressions(z, y, furthest):
    """A network from each start for times of at most `furthest` seconds, in units of 50 ms."""
    wanted = np.clip(y, -furthest, furthest) * 20
    net = lambda start: MLPRegressor(
        hidden_layer_sizes=(SHIFT_HIDDEN,), activation="tanh", alpha=0.3, max_iter=300, random_state=start, early_stopping=True
    )
    return Parallel(n_jobs=2)(delayed(net(start).fit)(z, wanted) for start in SHIFT_STARTS)


def around(times, odds):
    """What `neighbours` in src/segment/boundaries.rs gives: the candidate's own log odds, then for each stretch after
    it and each before it the greatest of its neighbours."""
    found = np.full((len(times), 1 + 2 * len(NEIGHBOURS)), NOBODY)
    found[:, 0] = odds
    for k, time in enumerate(times):
        low = 0.0
        away = times - time
        for stretch, high in enumerate(NEIGHBOURS):
            for side, apart in enumerate((away, -away)):
                near = (apart < high) & ((apart >= low) if low else (apart > 0))
                if near.any():
                    found[k, 1 + side * len(NEIGHBOURS) + stretch] = odds[near].max()
            low = high
    return found


def folded(nets, mean, scale):
    """One network for the mean of several, with the standardisation in its first layer."""
    w1 = np.vstack([(net.coefs_[0] / scale[:, None]).T for net in nets])
    b1 = np.concatenate([net.intercepts_[0] for net in nets]) - w1 @ mean
    w2 = np.concatenate([net.coefs_[1][:, 0] for net in nets]) / len(nets)
    return w1, b1, w2, np.mean([net.intercepts_[1][0] for net in nets])


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
    w1, b1, w2, b2 = folded(regressions(z, y, furthest), mean, scale)
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
    parts = list(read(sys.argv[1:]))
    names = parts[0][1]
    everything = np.vstack([p[3] for p in parts])
    mean, scale = everything.mean(0), everything.std(0) + 1e-6

    first, second = both_looks(parts, mean, scale)
    said, true, kinds = [], [], []
    for _, test in GroupKFold(FOLDS).split(parts, groups=[p[0] for p in parts]):
        others = [p for k, p in enumerate(parts) if k not in set(test)]
        looks = both_looks(others, mean, scale)
        for k in test:
            _, _, times, values, _, notes = parts[k]
            alone = log_odds_alone(looks[0], values)
            nets, wide_mean, wide_scale = looks[1]
            among = log_odds(nets, (np.hstack([values, around(times, alone)]) - wide_mean) / wide_scale)
            onset, known, kind = label(times, notes, alone)
            said.append(among[known])
            true.append(onset[known])
            kinds.append(kind[known])
    said, y, kinds = 1 / (1 + np.exp(-np.concatenate(said))), np.concatenate(true), np.concatenate(kinds)
    limit = np.percentile(said[y == 0], 99)
    recall = {str(k): round(float((said[(y == 1) & (kinds == k)] > limit).mean()), 3) for k in sorted(set(kinds) - {"-"})}
    print(f"{len(parts)} takes, {int(y.sum())} onsets, {int((1 - y).sum())} others")
    print(f"cross-validated: area under the curve {roc_auc_score(y, said):.4f}, recall at 1 % false: {recall}")
    for low, high in ((0, 0.02), (0.02, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 0.9), (0.9, 0.98), (0.98, 1)):
        here = (said >= low) & (said <= high)
        if here.any():
            print(f"  said {low}–{high}: {here.sum()} of which onsets {y[here].mean():.3f}")

    plain = [p for p in parts if p[0].startswith(os.path.join(sys.argv[2], ""))]
    shift = moving("onsets", *shifts(plain), FURTHEST)

    with open("src/segment/onset_weights.rs", "w") as out:
        out.write("//! Weights of the onset model, written by `tests/training/train_onsets.py`; not edited by hand.\n\n")
        out.write("#![allow(clippy::approx_constant)]\n\n")
        written(out, "", "Log odds of an onset from `Features::NAMES`", len(names), *folded(*first))
        written(out, "AMONG_", "The same with `neighbours` as well", len(second[1]), *folded(*second))
        written(out, "SHIFT_", "Seconds from the level's onset to the true one", len(names) + 1, *shift)


if __name__ == "__main__":
    main()
