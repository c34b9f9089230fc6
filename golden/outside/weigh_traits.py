"""Fits the weights by which the search tells a mirror sphere from other round outlines (src/sphere/find/weigh.rs).

    cargo bench --bench outside -- --shots DIR --half work --traits work.csv
    python weigh_traits.py work.csv [more.csv]

A conditional logit: of the outlines of one frame at most one place is the sphere's, and "none" is one of the choices.
Every shot counts the same, however many exposures it has. Prints what eight-fold cross-validation by shot gives at
several thresholds, then the weights.
"""
import csv
import sys

import numpy as np
from scipy.optimize import minimize

RIDGE = 0.3
RIVAL = 0.25
SURE_ALONE = 3.0
PLACED = 0.06
FIRST_TRAIT = 7
# What physics says of the sign of a weight is not left to so few shots: a mirror's rim has evidence, painted rings are no mirror's.
HELPS = {"ln_rim_evidence", "ln_edge_evidence", "support", "ln_detail", "ln_typical_detail", "continues",
         "colour_continues"}
HARMS = {"longest_gap", "ln_scatter_by_radius", "concentric", "darker", "colour_apart"}


class Outlines:
    """All outlines of all frames, their traits brought to mean 0 and sd 1."""

    def __init__(self, files):
        tables = [list(csv.reader(open(name))) for name in files]
        self.names = tables[0][0][FIRST_TRAIT:]
        rows = [row for table in tables for row in table[1:]]
        self.mirror = np.array([row[2] == "1" for row in rows])
        self.off = np.array([float(row[3]) for row in rows])
        self.circle = np.array([[float(v) for v in row[4:FIRST_TRAIT]] for row in rows])
        raw = np.array([[float(v) for v in row[FIRST_TRAIT:]] for row in rows])
        self.mean, self.sd = raw.mean(0), raw.std(0) + 1e-9
        self.traits = (raw - self.mean) / self.sd
        self.frames = {}
        for index, row in enumerate(rows):
            self.frames.setdefault((row[0], row[1]), []).append(index)
        shots = [shot for shot, _ in self.frames]
        self.weight = {shot: 1 / shots.count(shot) for shot in shots}


def probabilities(traits, weights):
    sums = np.append(traits @ weights[:-1], weights[-1])
    likely = np.exp(sums - sums.max())
    return likely / likely.sum()


def loss(weights, data, frames):
    total, gradient = 0.0, np.zeros_like(weights)
    for shot, frame in frames:
        rows = data.frames[shot, frame]
        p = probabilities(data.traits[rows], weights)
        right = np.append(data.mirror[rows], not data.mirror[rows].any())
        share = p * right
        weight = data.weight[shot]
        total -= weight * np.log(share.sum() + 1e-12)
        pull = p - share / (share.sum() + 1e-12)
        gradient[:-1] += weight * data.traits[rows].T @ pull[:-1]
        gradient[-1] += weight * pull[-1]
    size = weights[:-1]
    return total + RIDGE * size @ size, gradient + np.append(2 * RIDGE * size, 0)


def fit(data, frames):
    start = np.zeros(data.traits.shape[1] + 1)
    signs = [(0, None) if n in HELPS else (None, 0) if n in HARMS else (None, None) for n in data.names]
    bounds = [*signs, (None, None)]
    return minimize(loss, start, args=(data, frames), jac=True, method="L-BFGS-B", bounds=bounds).x


def places(circles, p):
    """Outlines of one thing together, likeliest first: (probability, likeliest outline)."""
    left, found = list(np.argsort(-p)), []
    while left:
        best = circles[left[0]]
        def belongs(i):
            apart = np.hypot(*(circles[i][:2] - best[:2]))
            large, small = max(circles[i][2], best[2]), min(circles[i][2], best[2])
            return apart < 0.5 * large and small > 0.6 * large
        group = [i for i in left if belongs(i)]
        found.append((p[group].sum(), left[0]))
        left = [i for i in left if i not in group]
    return sorted(found, reverse=True)


def outcome(data, frame, weights, least):
    rows = data.frames[frame]
    chances = probabilities(data.traits[rows], weights)
    ranked = places(data.circle[rows], chances[:-1])
    (chance, best), rest = ranked[0], ranked[1:]
    if chance < least:
        return "refused"
    if rest and (rest[0][0] > RIVAL * chance or rest[0][0] > np.exp(SURE_ALONE) * chances[-1]):
        return "open"
    return "found" if data.off[rows[best]] < PLACED else "wrong"


def main():
    data = Outlines(sys.argv[1:])
    frames = list(data.frames)
    shots = sorted(data.weight)
    np.random.default_rng(0).shuffle(shots)
    folds = [set(shots[k::8]) for k in range(8)]
    fitted = [(fold, fit(data, [f for f in frames if f[0] not in fold])) for fold in folds]
    for least in (0.5, 0.6, 0.7, 0.8, 0.9):
        words = [outcome(data, f, w, least) for fold, w in fitted for f in frames if f[0] in fold]
        print(least, {word: words.count(word) for word in ("found", "open", "refused", "wrong")})
    weights = fit(data, frames)
    raw = weights[:-1] / data.sd
    for name, weight in zip(data.names, raw):
        print(f"{weight:9.4f}  {name}")
    print(f"{weights[-1] + raw @ data.mean:9.4f}  none")


if __name__ == "__main__":
    main()
