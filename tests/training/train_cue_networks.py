"""Trains the onset networks of cues on takes with known truth and writes src/segment/onset_weights.rs.

    target/outside/venv/bin/python tests/training/train_cue_networks.py TAKES CUES OTHERS OTHER_CUES

The folders are those of train_sound_networks.py. The mean of the log odds of several networks with one hidden layer of
24 (tanh) each, on cues that are each about 0 to 1: enough to know that a dip means less where the level is restless
anyway. One of them alone finds fewer of the onsets that are hard to hear; together they are still one network with one
hidden layer. Prints cross-validated figures, grouped by take. The random starts are fixed.

That is the first look, at one candidate by itself; a second one of the same make has what its neighbours say of
themselves as well.
"""

import sys

import numpy as np
from joblib import Parallel, delayed
from sklearn.model_selection import GroupKFold
from sklearn.neural_network import MLPClassifier

from known_takes import candidates, finished_takes, label, played_notes, print_figures
from train_times import folded, written

HIDDEN = 24
STARTS = range(1, 7)
# Stretches of time around a candidate (NEIGHBOURS in src/segment/boundaries.rs), log odds of one without a candidate.
NEIGHBOURS, NOBODY = (0.0475, 0.1025, 0.1825), -6.0
ROUNDS = 3
FOLDS = 3


def read(folders):
    """Each take as (its files, times, cues, notes)."""
    for truth, files in finished_takes(folders):
        times, _, cues = candidates(files)
        yield files, times, cues, played_notes(truth)


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
        for _, times, values, notes in parts:
            z = (values - mean) / scale
            likely = None if nets is None else np.clip(log_odds(nets, z), -9, 9)
            onset, known, _ = label(times, notes, likely)
            x.append(z[known])
            y.append(onset[known])
        nets = fitted(np.vstack(x), np.concatenate(y))
    first = nets, mean, scale
    x, y = [], []
    for _, times, values, notes in parts:
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


def main():
    parts = list(read(sys.argv[1:]))
    everything = np.vstack([p[2] for p in parts])
    mean, scale = everything.mean(0), everything.std(0) + 1e-6
    said, true, kinds = [], [], []
    for _, test in GroupKFold(FOLDS).split(parts, groups=[p[0] for p in parts]):
        others = [p for k, p in enumerate(parts) if k not in set(test)]
        looks = both_looks(others, mean, scale)
        for k in test:
            _, times, values, notes = parts[k]
            alone = log_odds_alone(looks[0], values)
            nets, wide_mean, wide_scale = looks[1]
            among = log_odds(nets, (np.hstack([values, around(times, alone)]) - wide_mean) / wide_scale)
            onset, known, kind = label(times, notes, alone)
            said.append(among[known])
            true.append(onset[known])
            kinds.append(kind[known])
    print(f"{len(parts)} takes, cross-validated")
    print_figures(np.concatenate(said), np.concatenate(true), np.concatenate(kinds))

    first, second = both_looks(parts, mean, scale)
    with open("src/segment/onset_weights.rs", "w") as out:
        out.write("//! Weights of the onset model, written by `tests/training/train_cue_networks.py`; not edited by hand.\n\n")
        out.write("#![allow(clippy::approx_constant)]\n\n")
        written(out, "", "Log odds of an onset from `Features::NAMES`", everything.shape[1], *folded(*first))
        written(out, "AMONG_", "The same with `neighbours` as well", len(second[1]), *folded(*second))


if __name__ == "__main__":
    main()
