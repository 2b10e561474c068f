"""Trains the onset networks of cues on takes with known truth and writes src/segment/onset_weights.rs.

    target/outside/venv/bin/python tests/training/train_cue_networks.py TAKES TAKES.cues OTHERS OTHERS.cues …

The folders are those of train_sound_networks.py, spoilt ones and all. The mean of the log odds of several networks with one hidden layer of
24 (tanh) each, on cues that are each about 0 to 1: enough to know that a dip means less where the level is restless
anyway. One of them alone finds fewer of the onsets that are hard to hear; together they are still one network with one
hidden layer. Prints cross-validated figures, grouped by take. The random starts are fixed.

That is the first look, at one candidate by itself; a second one of the same make has what its neighbours say of
themselves as well.
"""

import os
import sys

import jax
import jax.numpy as jnp
import numpy as np

from descent import descended
from known_takes import candidates, finished_takes, label, played_notes, print_figures
from train_times import folded, written

NETWORKS, HIDDEN = 6, 24
# Stretches of time around a candidate (NEIGHBOURS in src/segment/boundaries.rs), log odds of one without a candidate.
NEIGHBOURS, NOBODY = (0.0475, 0.1025, 0.1825), -6.0
# How often each round of the first look goes through the takes, and how often the second look does.
ROUNDS, SECOND = (4, 6, 12), 12
BATCH, FASTEST, DECAY = 512, 3e-3, 1e-4
FOLDS = 3


def read(folders):
    """Each take as (times, cues, notes)."""
    for truth, files in finished_takes(folders):
        times, _, cues = candidates(files)
        yield times, cues, played_notes(truth)


def said_by(network, z):
    first, first_bias, second, second_bias = network
    return jnp.tanh(z @ first + first_bias) @ second + second_bias


def loss(networks, z, onset):
    """Of all networks together; none of them has anything to do with another."""
    def of_one(network):
        said = said_by(network, z)
        size = jnp.sum(network[0] ** 2) + jnp.sum(network[2] ** 2)
        return jnp.mean(jnp.logaddexp(0, said) - onset * said) + DECAY * size

    return jnp.sum(jax.vmap(of_one)(networks))


def fitted(z, onset, times_through):
    """Networks, as (weights, biases, weights, bias), each from a random start of its own."""
    keys = jax.random.split(jax.random.PRNGKey(0), 2)
    networks = (
        jax.random.normal(keys[0], (NETWORKS, z.shape[1], HIDDEN)) * np.sqrt(2 / (z.shape[1] + HIDDEN)),
        jnp.zeros((NETWORKS, HIDDEN)),
        jax.random.normal(keys[1], (NETWORKS, HIDDEN)) * np.sqrt(2 / (HIDDEN + 1)),
        jnp.zeros(NETWORKS),
    )
    rows = z.astype(np.float32), onset.astype(np.float32)
    networks = descended(loss, networks, rows, np.random.default_rng(0), times_through, BATCH, FASTEST)
    return list(zip(*(np.array(part, float) for part in networks)))


def log_odds(networks, z):
    """The mean of what the networks say."""
    return np.mean([np.tanh(z @ first + a) @ second + b for first, a, second, b in networks], 0)


def both_looks(parts, mean, scale):
    """The networks of the first look, at one candidate's cues, and of the second, with the neighbours' log odds as well:
    each as (networks, mean, scale)."""
    nets = None
    for times_through in ROUNDS:
        x, y = [], []
        for times, values, notes in parts:
            z = (values - mean) / scale
            likely = None if nets is None else np.clip(log_odds(nets, z), -9, 9)
            onset, known, _ = label(times, notes, likely)
            x.append(z[known])
            y.append(onset[known])
        nets = fitted(np.vstack(x), np.concatenate(y), times_through)
    first = nets, mean, scale
    x, y = [], []
    for times, values, notes in parts:
        alone = log_odds_alone(first, values)
        onset, known, _ = label(times, notes, alone)
        x.append(np.hstack([values, around(times, alone)])[known])
        y.append(onset[known])
    x, y = np.vstack(x), np.concatenate(y)
    wide_mean, wide_scale = x.mean(0), x.std(0) + 1e-6
    return first, (fitted((x - wide_mean) / wide_scale, y, SECOND), wide_mean, wide_scale)


def said_by_look(look, values):
    nets, mean, scale = look
    return log_odds(nets, (values - mean) / scale)


def log_odds_alone(first, values):
    """What `alone` in src/segment/onset_model.rs gives."""
    return np.clip(said_by_look(first, values), NOBODY, -NOBODY)


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


def cross_validated(parts, mean, scale):
    said, true, kinds = [], [], []
    for fold in range(FOLDS):
        first, second = both_looks([p for k, p in enumerate(parts) if k % FOLDS != fold], mean, scale)
        for times, values, notes in parts[fold::FOLDS]:
            alone = log_odds_alone(first, values)
            among = said_by_look(second, np.hstack([values, around(times, alone)]))
            onset, known, kind = label(times, notes, alone)
            said.append(among[known])
            true.append(onset[known])
            kinds.append(kind[known])
    print(f"{len(parts)} takes, cross-validated")
    print_figures(np.concatenate(said), np.concatenate(true), np.concatenate(kinds))


def main():
    parts = list(read(sys.argv[1:]))
    everything = np.vstack([cues for _, cues, _ in parts])
    mean, scale = everything.mean(0), everything.std(0) + 1e-6
    if "NO_FOLDS" not in os.environ:
        cross_validated(parts, mean, scale)
    first, second = both_looks(parts, mean, scale)
    with open("src/segment/onset_weights.rs", "w") as out:
        out.write("//! Weights of the onset model, written by `tests/training/train_cue_networks.py`; not edited by hand.\n\n")
        out.write("#![allow(clippy::approx_constant)]\n\n")
        written(out, "", "Log odds of an onset from `Features::NAMES`", everything.shape[1], *folded(*first))
        written(out, "AMONG_", "The same with `neighbours` as well", len(second[1]), *folded(*second))


if __name__ == "__main__":
    main()
