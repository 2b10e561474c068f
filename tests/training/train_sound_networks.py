"""Trains the onset networks of sound on takes with known truth and writes src/segment/onset_networks.bin.

    target/outside/venv/bin/pip install -r tests/training/requirements.txt
    cargo run --profile quick --example accuracy -- make --out TAKES --takes 1600 --seed 32 --half tune
    cargo run --profile quick --example accuracy -- make --out OTHERS --takes 1600 --seed 33 --half tune --set borrowed
    target/outside/venv/bin/python tests/accuracy/spoil_takes.py TAKES SPOILT anyhow
    target/outside/venv/bin/python tests/accuracy/spoil_takes.py OTHERS OTHERS_SPOILT anyhow 5000
    for takes in TAKES OTHERS SPOILT OTHERS_SPOILT; do
        TIMED_BY_LEVEL=1 cargo run --profile quick --example judge_folder -- $takes $takes.cues
    done
    target/outside/venv/bin/python tests/training/train_sound_networks.py TAKES TAKES.cues OTHERS OTHERS.cues \\
        SPOILT SPOILT.cues OTHERS_SPOILT OTHERS_SPOILT.cues

Each network reads the strip of sound around a candidate (src/segment/surroundings.rs) with three convolutions over time
and what they find together with the candidate's cues (src/segment/boundaries.rs); what src/segment/onset_networks.rs says
is the mean of their log odds. Prints figures of networks that never heard a third of the takes. The random starts are fixed.
"""

import os
import sys

import jax
import jax.numpy as jnp
import numpy as np

from descent import descended
from known_takes import candidates, finished_takes, label, played_notes, print_figures

# As in src/segment/onset_networks.rs.
NETWORKS, TAPS, HIDDEN, NARROW, JOINED = 4, 5, 24, 8, 32
# As in src/segment/surroundings.rs, and what one unit of a strip on disk is.
FRAMES, CHANNELS, UNIT = 51, 17, 1 / 4096
# Other candidates this close to the labelled one speak of the same onset: they are neither onset nor not. Those a little
# further away are none, or one onset would be heard twice.
SAME_ONSET = 0.055
# How often each round goes through the takes; the last is the one that counts.
ROUNDS = (2, 5, 12)
BATCH, FASTEST, DECAY = 256, 2e-3, 1e-4
# Candidates that the round before found less likely than this, and that are none, are looked at one in four times.
PLAIN, ONE_IN = -5.0, 4
FOLDS = 3


class Take:
    def __init__(self, truth, files):
        self.times, _, self.cues = candidates(files)
        self.strips = np.fromfile(files + ".strips", "<i2").reshape(-1, FRAMES, CHANNELS)
        self.notes = played_notes(truth)

    def label(self, likely):
        return label(self.times, self.notes, likely, SAME_ONSET)


def start(key):
    """A network of random weights."""
    keys = iter(jax.random.split(key, 6))

    def layer(*shape):
        fan = int(np.prod(shape[:-1]))
        return jax.random.normal(next(keys), shape) / np.sqrt(fan), jnp.zeros(shape[-1])

    left = -(-(-(-FRAMES // 2)) // 2)
    return [
        layer(TAPS, CHANNELS, HIDDEN),
        layer(TAPS, HIDDEN, HIDDEN),
        layer(TAPS, HIDDEN, HIDDEN),
        layer(1, HIDDEN, NARROW),
        layer(left * NARROW + CUES, JOINED),
        layer(JOINED, 1),
    ]


def log_odds(network, strips, cues):
    found = strips.astype(jnp.float32) * UNIT
    for (weights, bias), stride in zip(network[:4], (1, 2, 2, 1)):
        shape = ("NWC", "WIO", "NWC")
        found = jax.nn.relu(jax.lax.conv_general_dilated(found, weights, (stride,), "SAME", dimension_numbers=shape) + bias)
    found = jnp.concatenate([found.reshape(found.shape[0], -1), cues], 1)
    found = jax.nn.relu(found @ network[4][0] + network[4][1])
    return (found @ network[5][0] + network[5][1])[:, 0]


def loss(network, strips, cues, onset, weight):
    said = log_odds(network, strips, cues)
    size = sum(jnp.sum(weights**2) for weights, _ in network)
    return jnp.mean(weight * (jnp.logaddexp(0, said) - onset * said)) + DECAY * size


said_by = jax.jit(log_odds)


def say(networks, strips, cues):
    """The mean of what the networks say."""
    said = np.zeros(len(strips))
    for k in range(0, len(strips), 4096):
        part = slice(k, k + 4096)
        said[part] = np.mean([said_by(network, strips[part], cues[part]) for network in networks], 0)
    return said


def fit(seed, times_through, strips, cues, onset, plain):
    rng = np.random.default_rng(seed)
    kept = np.flatnonzero(~plain | (rng.random(len(plain)) < 1 / ONE_IN))
    weight = np.where(plain, ONE_IN, 1).astype(np.float32)
    rows = [row[kept] for row in (strips, cues, onset, weight)]
    return descended(loss, start(jax.random.PRNGKey(seed)), rows, rng, times_through, BATCH, FASTEST)


class Material:
    """All candidates of the takes in one."""

    def __init__(self, takes):
        self.takes = takes
        self.strips = np.concatenate([t.strips for t in takes])
        raw = np.concatenate([t.cues for t in takes])
        self.mean, self.scale = raw.mean(0), raw.std(0) + 1e-6
        self.cues = ((raw - self.mean) / self.scale).astype(np.float32)
        self.edges = np.cumsum([0] + [len(t.times) for t in takes])

    def of(self, number):
        return np.arange(self.edges[number], self.edges[number + 1])

    def labels(self, numbers, likely):
        """Of these takes: indices of the known candidates, whether each is an onset, its kind."""
        where, onsets, kinds = [], [], []
        for number in numbers:
            at = self.of(number)
            onset, known, kind = self.takes[number].label(None if likely is None else likely[at])
            where.append(at[known])
            onsets.append(onset[known])
            kinds.append(kind[known])
        return np.concatenate(where), np.concatenate(onsets).astype(np.float32), np.concatenate(kinds)

    def train(self, numbers, networks):
        likely = None
        everything = np.concatenate([self.of(number) for number in numbers])
        for times_through in ROUNDS:
            last = times_through == ROUNDS[-1]
            where, onset, _ = self.labels(numbers, likely)
            plain = np.zeros(len(where), bool) if likely is None else (likely[where] < PLAIN) & (onset == 0)
            trained = [
                fit(seed, times_through, self.strips[where], self.cues[where], onset, plain)
                for seed in range(networks if last else 1)
            ]
            if not last:
                likely = np.zeros(len(self.strips))
                likely[everything] = say(trained, self.strips[everything], self.cues[everything])
        return trained

    def cross_validated(self):
        said, true, kinds = [], [], []
        for fold in range(FOLDS):
            numbers = range(len(self.takes))
            networks = self.train([k for k in numbers if k % FOLDS != fold], 1)
            for number in numbers[fold::FOLDS]:
                at = self.of(number)
                odds = say(networks, self.strips[at], self.cues[at])
                onset, known, kind = self.takes[number].label(odds)
                said.append(odds[known])
                true.append(onset[known])
                kinds.append(kind[known])
        print(f"{len(self.takes)} takes, one network, cross-validated")
        print_figures(np.concatenate(said), np.concatenate(true), np.concatenate(kinds))


def written(path, networks, mean, scale):
    """Every network, layer by layer: weights as 16-bit integers, after the 32-bit float that one unit of them is, then
    biases as 32-bit floats; all little-endian. What the joining layer makes of the cues comes as a layer of its own, with
    their standardisation in it. At the end, as a 32-bit float, what they say of a pattern, so that a test can hold the
    program against this script."""
    with open(path, "wb") as out:
        def put(weights, bias):
            unit = np.abs(weights).max() / 32767
            out.write(np.float32(unit).astype("<f4").tobytes())
            out.write(np.round(weights / unit).astype("<i2").tobytes())
            out.write(bias.astype("<f4").tobytes())

        for network in networks:
            for k, (weights, bias) in enumerate(network):
                weights, bias = np.array(weights, float), np.array(bias, float)
                if k == 4:
                    of_cues = weights[-len(mean) :] / scale[:, None]
                    put(weights[: -len(mean)], bias)
                    put(of_cues, -mean @ of_cues)
                else:
                    put(weights, bias)
        frame, channel = np.meshgrid(np.arange(FRAMES), np.arange(CHANNELS), indexing="ij")
        strip = np.cos(0.1 * frame * (channel + 1)) / UNIT
        cues = (0.5 * np.cos(np.arange(CUES)) - mean) / scale
        said = np.mean([log_odds(n, strip[None].astype(np.float32), cues[None].astype(np.float32))[0] for n in networks])
        out.write(said.astype("<f4").tobytes())


def main():
    global CUES
    takes = [Take(truth, files) for truth, files in finished_takes(sys.argv[1:])]
    CUES = takes[0].cues.shape[1]
    material = Material(takes)
    if "NO_FOLDS" not in os.environ:
        material.cross_validated()
    networks = material.train(range(len(takes)), NETWORKS)
    written("src/segment/onset_networks.bin", networks, material.mean, material.scale)


if __name__ == "__main__":
    main()
