"""How the networks of train_sound_networks.py and train_cue_networks.py are fitted."""

from functools import partial

import jax
import jax.numpy as jnp
import numpy as np


@partial(jax.jit, static_argnums=0)
def step(loss, network, first, second, count, rate, batch):
    """One step of Adam (Kingma and Ba, 2015)."""
    slope = jax.grad(loss)(network, *batch)
    first = jax.tree.map(lambda a, b: 0.9 * a + 0.1 * b, first, slope)
    second = jax.tree.map(lambda a, b: 0.999 * a + 0.001 * b * b, second, slope)
    moved = lambda w, a, b: w - rate * (a / (1 - 0.9**count)) / (jnp.sqrt(b / (1 - 0.999**count)) + 1e-8)
    return jax.tree.map(moved, network, first, second), first, second


def descended(loss, network, rows, rng, times_through, size, fastest):
    """The network after so many times through the rows, in batches of about this size; each of `rows` is an array, and
    `loss` takes the network and the part of each that is in the batch. The rate falls from `fastest` along a cosine."""
    first = second = jax.tree.map(jnp.zeros_like, network)
    many = len(rows[0])
    steps = many // size
    count = 0
    for _ in range(times_through):
        for part in np.array_split(rng.permutation(many)[: steps * size], steps):
            count += 1
            rate = fastest * 0.5 * (1 + np.cos(np.pi * count / (times_through * steps))) + 1e-5
            batch = tuple(row[part] for row in rows)
            network, first, second = step(loss, network, first, second, float(count), rate, batch)
    return network
