"""Learns how the unrolled picture of a round outline looks where it is a mirror sphere's (src/sphere/find/look).

    cargo bench --bench outside -- --shots DIR --half practice --traits practice.csv    (writes practice.unrolled beside it)
    cargo bench --bench outside -- --shots DIR --half work --traits work.csv
    python learn_look.py practice.csv --held-out work.csv --out look.bin [--table work_looks.csv]

Learned on the practice shots alone. Shows on the held-out outlines, which have no part in it, how well the look tells mirrors
from other round things (area under the ROC curve).
"""

import csv
from pathlib import Path

import jax
import jax.numpy as jnp
import numpy as np

import learning

PLANES, RINGS, SPOKES = 4, 32, 64
CHANNELS, HIDDEN = (16, 32, 48), 32
NEAR, CLEARLY_OFF = 0.055, 0.12


def arguments():
    parser = learning.parser(__doc__, steps=4000)
    parser.add_argument("tables", type=Path, nargs="+")
    parser.add_argument("--held-out", type=Path, nargs="*", default=[])
    return parser.parse_args()


def read(tables):
    """Pictures, whether each is a mirror's, distance to the nearest mirror's outline, and its shot."""
    pictures, off, shots = [], [], []
    for table in tables:
        rows = list(csv.reader(open(table)))[1:]
        values = np.fromfile(table.with_suffix(".unrolled"), np.float16)
        pictures.append(values.reshape(-1, PLANES, RINGS, SPOKES))
        assert len(pictures[-1]) == len(rows), "an outline without a picture"
        off += [float(row[3]) for row in rows]
        shots += [row[0] for row in rows]
    return np.concatenate(pictures), np.array(off), np.array(shots)


def begin(seed):
    rng = np.random.default_rng(seed)
    sizes = (PLANES, *CHANNELS)
    weights = []
    for inward, outward in zip(sizes, sizes[1:]):
        weights += [rng.normal(0, (2 / (9 * inward)) ** 0.5, (outward, inward, 3, 3)), np.zeros(outward)]
    pooled = CHANNELS[-1] * (RINGS // 8) * 2
    weights += [rng.normal(0, (2 / pooled) ** 0.5, (HIDDEN, pooled)), np.zeros(HIDDEN), rng.normal(0, (1 / HIDDEN) ** 0.5, (1, HIDDEN)), np.zeros(1)]
    return [jnp.asarray(w, jnp.float32) for w in weights]


def halved(x):
    n, c, h, w = x.shape
    return x.reshape(n, c, h // 2, 2, w // 2, 2).max((3, 5))


def convolved(x, weight, bias):
    x = jnp.pad(x, ((0, 0), (0, 0), (1, 1), (0, 0)))
    x = jnp.pad(x, ((0, 0), (0, 0), (0, 0), (1, 1)), mode="wrap")
    return jax.nn.relu(jax.lax.conv_general_dilated(x, weight, (1, 1), "VALID") + bias[None, :, None, None])


def look(weights, x, drop=None):
    for layer in range(3):
        x = halved(convolved(x, weights[2 * layer], weights[2 * layer + 1]))
    x = jnp.concatenate([x.mean(3), x.max(3)], 1).reshape(len(x), -1)
    if drop is not None:
        x = x * drop
    x = jax.nn.relu(x @ weights[6].T + weights[7])
    return (x @ weights[8].T + weights[9])[:, 0]


def loss(weights, x, truth, drop):
    value = look(weights, x, drop)
    cross = jnp.maximum(value, 0) - value * truth + jnp.log1p(jnp.exp(-jnp.abs(value)))
    decay = sum((w ** 2).sum() for w in weights[::2])
    return cross.mean() + 2e-4 * decay


def varied(x, rng):
    """The same thing photographed otherwise: turned, mirrored, of other contrast, tint and noise; hidden in part, or
    filling the frame so that nothing around it is seen."""
    x = x.astype(np.float32)
    for i in range(len(x)):
        x[i] = np.roll(x[i], rng.integers(SPOKES), 2)
        if rng.uniform() < 0.5:
            x[i] = x[i, :, :, ::-1]
    shape = (len(x), 1, 1, 1)
    shown = x[:, 3:]
    x[:, :1] *= np.exp(rng.normal(0, 0.25, shape))
    x[:, 1:3] *= np.exp(rng.normal(0, 0.35, shape))
    x[:, :3] += rng.normal(0, 1, x[:, :3].shape) * np.exp(rng.uniform(np.log(0.002), np.log(0.08), shape))
    hidden = np.ones_like(x[:, :1])
    for i in np.flatnonzero(rng.uniform(size=len(x)) < 0.15):
        hidden[i, 0, :, :rng.integers(4, 16)] = 0
    for i in np.flatnonzero(rng.uniform(size=len(x)) < 0.15):
        hidden[i, 0, rng.integers(24, 29):] = 0
        if rng.uniform() < 0.5:
            hidden[i, 0, :, rng.integers(SPOKES, size=8)] = 1
    x[:, :3] *= hidden
    x[:, 3:] = shown * hidden
    return x.astype(np.float32)


def learn(pictures, off, shots, steps, seed, size=96):
    """A step sees as many mirrors as other things; every shot counts the same."""
    rng = np.random.default_rng(seed)
    mirrors, others = np.flatnonzero(off < NEAR), np.flatnonzero(off > CLEARLY_OFF)
    counts = {s: n for s, n in zip(*np.unique(shots, return_counts=True))}
    shares = [np.array([1 / counts[shots[i]] for i in group]) for group in (mirrors, others)]

    def batch():
        chosen = np.concatenate([rng.choice(g, size // 2, p=s / s.sum()) for g, s in zip((mirrors, others), shares)])
        truth = (off[chosen] < NEAR).astype(np.float32)
        drop = (rng.uniform(size=(size, CHANNELS[-1] * (RINGS // 8) * 2)) < 0.7).astype(np.float32) / 0.7
        return varied(pictures[chosen], rng), truth, drop

    return learning.learned(loss, begin(seed), batch, steps, 2e-3)


def looks(weights, pictures):
    apply = jax.jit(look)
    return np.concatenate([np.asarray(apply(weights, jnp.asarray(part, jnp.float32))) for part in np.array_split(pictures, max(1, len(pictures) // 256))])


def area_under_curve(values, truth):
    order = values.argsort().argsort() + 1.0
    positive = truth.sum()
    return (order[truth].sum() - positive * (positive + 1) / 2) / (positive * (len(truth) - positive))


def main():
    options = arguments()
    pictures, off, shots = read(options.tables)
    names = np.unique(shots)
    tested = set(names[::8])
    inside = np.array([s in tested for s in shots])
    print(len(off), "outlines,", (off < NEAR).sum(), "of mirrors,", len(names), "shots")
    weights = learning.rounded(learn(pictures[~inside], off[~inside], shots[~inside], options.steps, options.seed))
    report("an eighth of the practice shots, not learned on", looks(weights, pictures[inside]), off[inside])
    for table in options.held_out:
        held, away, _ = read([table])
        values = looks(weights, held)
        report(table.name, values, away)
        np.savetxt(table.with_suffix(".looks"), values, "%.4f")
    if options.out:
        learning.keep(weights, options.out)


def report(name, values, off):
    clear = (off < NEAR) | (off > CLEARLY_OFF)
    print(f"{name}: area under the curve {area_under_curve(values[clear], off[clear] < NEAR):.4f}, mirrors' median {np.median(values[off < NEAR]):.2f}, others' {np.median(values[off > CLEARLY_OFF]):.2f}")


if __name__ == "__main__":
    main()
