"""What the learned nets of the search have in common: how their weights are learned, rounded and kept."""

import argparse
from pathlib import Path

import jax
import jax.numpy as jnp
import numpy as np


def parser(doc, steps):
    """Command line of a script that learns a net."""
    made = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    made.add_argument("--out", type=Path)
    made.add_argument("--steps", type=int, default=steps)
    made.add_argument("--seed", type=int, default=1)
    return made


def learned(loss, weights, batch, steps, fastest):
    """The running mean of weights that go down the slope of `loss(weights, *batch())` in steps that become ever smaller."""

    @jax.jit
    def step(weights, first, second, count, examples, rate):
        value, slope = jax.value_and_grad(loss)(weights, *examples)
        first = [0.9 * m + 0.1 * g for m, g in zip(first, slope)]
        second = [0.999 * v + 0.001 * g * g for v, g in zip(second, slope)]
        scale = jnp.sqrt(1 - 0.999 ** count) / (1 - 0.9 ** count)
        return [w - rate * scale * m / (jnp.sqrt(v) + 1e-8) for w, m, v in zip(weights, first, second)], first, second, value

    first, second = ([jnp.zeros_like(w) for w in weights] for _ in range(2))
    mean = weights
    for count in range(1, steps + 1):
        rate = fastest * 0.5 * (1 + np.cos(np.pi * count / steps))
        weights, first, second, value = step(weights, first, second, count, batch(), rate)
        mean = [0.995 * m + 0.005 * w for m, w in zip(mean, weights)]
        if count % 250 == 0:
            print(count, f"{float(value):.3f}", flush=True)
    return mean


def rounded(weights):
    """As the program reads them."""
    return [jnp.asarray(np.asarray(w, np.float16), jnp.float32) for w in weights]


def keep(weights, path):
    path.write_bytes(b"".join(np.asarray(w, "<f2").tobytes() for w in weights))
    print(path.stat().st_size, "bytes")


def kept(path, like):
    """Weights from a file, shaped like others."""
    values, weights = np.fromfile(path, "<f2").astype(np.float32), []
    for one in like:
        weights.append(jnp.asarray(values[:one.size].reshape(one.shape)))
        values = values[one.size:]
    return weights
