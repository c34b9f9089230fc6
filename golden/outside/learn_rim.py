"""Learns where along a ray from inside a mirror sphere its rim lies (src/sphere/find/rim_chance): places between which the edges decide.

    python learn_rim.py PRACTICE --out rim.bin [--tested DIR --half work]

PRACTICE holds the practice shots (make_shots.py --half practice). The frame is unrolled about a circle that is up to a quarter of the
radius off; the net answers for every ray how likely the rim is at each distance. Learned on the practice shots alone; `--tested` fits
circles to the answers in other shots, from circles that are off, and tells how far they end from the true outlines.
"""

import json
from pathlib import Path

import jax
import jax.numpy as jnp
import numpy as np

import learning
from learn_glance import linear

PLANES, RINGS, SPOKES = 4, 48, 64
NEAR, FAR, ACROSS = 0.6, 1.5, 3
FINE, COARSE, DILATIONS = 16, 32, (1, 2, 4, 8)
DARKEST, MOST = 4e-3, 4.0
FARTHEST, NOTHING = 0.25, 0.02


def arguments():
    parser = learning.parser(__doc__, steps=3000)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tested", type=Path)
    parser.add_argument("--half", default="work")
    parser.add_argument("--begin", type=Path, help="weights to begin with, instead of random ones")
    parser.add_argument("--rate", type=float, default=3e-3)
    return parser.parse_args()


def shots(folder, half):
    """For every frame with a sphere: file, encoding, its outline (x, y, a, b, angle) px."""
    found = []
    for path in sorted(folder.glob(f"{half}_*/truth.json")):
        truth, sheet = json.loads(path.read_text()), json.loads((path.parent / "shot.json").read_text())
        for entry, shift in zip(sheet["mirrors"][0]["bracket"], truth["bracket"]["shift_px"]):
            x, y, a, b, angle = truth["sphere"]["outline_px"]
            found.append((path.parent / entry["frame"], entry.get("encoding"), (x + shift[0], y + shift[1], a, b, angle)))
    return found


def shape(outline):
    """The matrix that draws the outline from the unit circle."""
    _, _, a, b, angle = outline
    turn = np.radians(angle)
    across = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return across @ np.diag([a, b]) @ across.T


def cells():
    """Offsets of the samples of all cells from the centre, in radii (rings, spokes, samples, 2)."""
    within = (np.arange(ACROSS) + 0.5) / ACROSS
    ring = NEAR + (FAR - NEAR) / RINGS * (np.arange(RINGS)[:, None] + within)
    angle = 2 * np.pi / SPOKES * (np.arange(SPOKES)[:, None] + within)
    radius, turn = ring[:, None, :, None], angle[None, :, None, :]
    return np.stack([radius * np.cos(turn), radius * np.sin(turn)], -1).reshape(RINGS, SPOKES, ACROSS * ACROSS, 2)


CELLS = cells()


def unrolled(frame, matrix, centre):
    """Log brightness, two differences of colour and coverage, as src/sphere/find/unrolled.rs reads them."""
    at = np.floor(CELLS @ matrix.T + centre).astype(int)
    height, width = frame.shape[:2]
    inside = (at[..., 0] >= 0) & (at[..., 0] < width) & (at[..., 1] >= 0) & (at[..., 1] < height)
    pixels = frame[np.clip(at[..., 1], 0, height - 1), np.clip(at[..., 0], 0, width - 1)]
    inside &= np.isfinite(pixels).all(-1)
    count = inside.sum(-1)
    means = np.where(inside[..., None], pixels, 0).sum(-2) / np.maximum(count, 1)[..., None]
    shown = count > 0
    floor = max(DARKEST * np.maximum(means[shown], 0).sum() / max(3 * shown.sum(), 1), 1e-30)
    r, g, b = np.log(np.maximum(means, floor)).transpose(2, 0, 1)
    planes = np.stack([(r + g + b) / 3, r - g, b - g])
    planes = np.clip(planes - planes[:, shown].mean(1)[:, None, None], -MOST, MOST) * shown
    return np.concatenate([planes, shown[None]]).astype(np.float32)


def distances(centre, radius):
    """Where each ray from the origin leaves a circle (all in radii of the guess)."""
    angle = 2 * np.pi / SPOKES * (np.arange(SPOKES) + 0.5)
    along = centre[0] * np.cos(angle) + centre[1] * np.sin(angle)
    return along + np.sqrt(np.maximum(radius ** 2 - centre @ centre + along ** 2, 0))


def begin(seed):
    rng, weights = np.random.default_rng(seed), []
    layers = [(PLANES, FINE), (FINE, FINE), (FINE, COARSE)] + [(COARSE, COARSE)] * len(DILATIONS) + [(FINE + COARSE, FINE)]
    for inward, outward in layers:
        weights += [rng.normal(0, (2 / (9 * inward)) ** 0.5, (outward, inward, 3, 3)), np.zeros(outward)]
    weights += [rng.normal(0, 0.1, (1, FINE, 1, 1)), np.zeros(1)]
    return [jnp.asarray(w, jnp.float32) for w in weights]


def convolved(x, weight, bias, dilation=1):
    """Rows, columns, channels; columns go round. As one product of matrices, which is faster here than the library's convolution."""
    taps = weight.shape[2]
    if taps > 1:
        rows, columns = x.shape[1:3]
        x = jnp.pad(x, ((0, 0), (dilation, dilation), (0, 0), (0, 0)))
        x = jnp.pad(x, ((0, 0), (0, 0), (dilation, dilation), (0, 0)), mode="wrap")
        x = jnp.concatenate([x[:, i * dilation:i * dilation + rows, j * dilation:j * dilation + columns] for i in range(taps) for j in range(taps)], -1)
    return x @ weight.transpose(2, 3, 1, 0).reshape(-1, weight.shape[0]) + bias


def halved(x):
    n, h, w, c = x.shape
    return x.reshape(n, h // 2, 2, w // 2, 2, c).max((2, 4))


def doubled(x):
    return jnp.repeat(jnp.repeat(x, 2, 1), 2, 2)


def rim(weights, x):
    """ln of the chance of each ring, up to a constant for each spoke (batch, rings, spokes)."""
    layer = lambda k, x, dilation=1: jax.nn.relu(convolved(x, weights[2 * k], weights[2 * k + 1], dilation))
    fine = layer(1, layer(0, x.transpose(0, 2, 3, 1)))
    coarse = layer(2, halved(fine))
    for k, dilation in enumerate(DILATIONS):
        coarse = coarse + layer(3 + k, coarse, dilation)
    fine = layer(3 + len(DILATIONS), jnp.concatenate([fine, doubled(coarse)], -1))
    return convolved(fine, weights[-2], weights[-1])[..., 0]


def loss(weights, x, truth, counted):
    chance = jax.nn.log_softmax(rim(weights, x), 1)
    # A hidden stretch of rim has no right answer: no ray costs more than one on which nothing is known.
    asked = jax.nn.logsumexp(jnp.where(truth > 0, chance + jnp.log(jnp.maximum(truth, 1e-9)), -jnp.inf), 1)
    asked = jnp.logaddexp(asked, jnp.log(NOTHING / RINGS))
    decay = sum((w ** 2).sum() for w in weights[::2])
    return -(asked * counted).sum() / counted.sum() + 1e-4 * decay


def off(rng, most):
    """A guess that is off: its centre as seen from the truth, and its size, in true radii."""
    turn, far = rng.uniform(0, 2 * np.pi), most * rng.uniform() ** 0.5
    return far * np.array([np.cos(turn), np.sin(turn)]), np.exp(rng.uniform(-most, most))


def example(frame, outline, rng):
    matrix, centre = shape(outline), np.array(outline[:2])
    shift, size = off(rng, FARTHEST if rng.uniform() < 0.6 else 0.06)
    picture = unrolled(frame, matrix * size, centre + matrix @ shift)
    rings = (distances(-shift / size, 1 / size) - NEAR) / (FAR - NEAR) * RINGS - 0.5
    truth = np.maximum(0, 1 - np.abs(np.arange(RINGS)[:, None] - rings)).astype(np.float32)
    at = np.clip(np.round(rings).astype(int), 0, RINGS - 1)
    counted = ((rings > 0) & (rings < RINGS - 1) & (picture[3, at, np.arange(SPOKES)] > 0)).astype(np.float32)
    return varied(picture, truth, counted, rng)


def varied(picture, truth, counted, rng):
    """The same photographed otherwise: turned, mirrored, of other contrast, tint and noise; or filling the frame, so that little or
    nothing around it is seen."""
    turn = rng.integers(SPOKES)
    picture, truth, counted = np.roll(picture, turn, 2), np.roll(truth, turn, 1), np.roll(counted, turn)
    if rng.uniform() < 0.5:
        picture, truth, counted = picture[:, :, ::-1].copy(), truth[:, ::-1], counted[::-1]
    if rng.uniform() < 0.2:
        rings = truth.argmax(0) + np.full(SPOKES, rng.integers(1, 6))
        if rng.uniform() < 0.5:
            rings[rng.integers(SPOKES, size=10)] = RINGS
        picture[3] *= np.arange(RINGS)[:, None] <= rings
        picture[:3] -= (picture[:3] * picture[3]).sum((1, 2), keepdims=True) / max(picture[3].sum(), 1)
    shown = picture[3].copy()
    picture[0] *= np.exp(rng.normal(0, 0.25))
    picture[1:3] *= np.exp(rng.normal(0, 0.4)) if rng.uniform() < 0.85 else 0
    picture[:3] += rng.normal(0, 1, picture[:3].shape) * np.exp(rng.uniform(np.log(0.002), np.log(0.15)))
    picture[:3] *= shown
    return picture.astype(np.float32), truth, counted


def batch(frames, rng, size=24):
    chosen = [frames[i] for i in rng.integers(len(frames), size=size)]
    return tuple(np.stack(part) for part in zip(*(example(*one, rng) for one in chosen)))


answered = jax.jit(lambda weights, x: jax.nn.log_softmax(rim(weights, x), 1))


def worth(chance, shown, circle):
    """Mean ln of the chance that the rim is on a circle (x, y, radius in radii of the guess)."""
    rings = np.clip((distances(np.array(circle[:2]), circle[2]) - NEAR) / (FAR - NEAR) * RINGS - 0.5, 0, RINGS - 1.001)
    low, spokes = rings.astype(int), np.arange(SPOKES)
    part = rings - low
    value = (1 - part) * chance[low, spokes] + part * chance[low + 1, spokes]
    return (np.log(value + NOTHING / RINGS) * shown).sum() / max(shown.sum(), 1)


def likeliest(chance, shown):
    """Climbs from several circles to the one that the answers bear out best."""
    best = None
    for start in [(x, y, r) for x in (-0.15, 0, 0.15) for y in (-0.15, 0, 0.15) for r in (0.8, 0.9, 1.0, 1.1, 1.25)]:
        value = worth(chance, shown, start)
        if best is None or value > best[1]:
            best = (start, value)
    circle, value = best
    reach = 0.08
    while reach > 0.002:
        moved = False
        for axis in range(3):
            for sign in (1, -1):
                other = list(circle)
                other[axis] += sign * reach
                other_value = worth(chance, shown, other)
                if other_value > value:
                    circle, value, moved = other, other_value, True
        if not moved:
            reach /= 2
    return circle, value


def followed(weights, frame, matrix, centre, passes):
    """From a guess to the circle that the answers bear out, unrolled about again and again."""
    for _ in range(passes):
        picture = unrolled(frame, matrix, centre)
        chance = np.exp(np.asarray(answered(weights, picture[None]))[0])
        (x, y, r), value = likeliest(chance, picture[3].max(0))
        centre, matrix = centre + matrix @ np.array([x, y]), matrix * r
    return matrix, centre, value


def test(weights, frames, passes=3):
    rng, ends = np.random.default_rng(5), []
    for frame, outline in frames:
        matrix, centre = shape(outline), np.array(outline[:2])
        radius = (outline[2] * outline[3]) ** 0.5
        shift, size = off(rng, 0.2)
        end, middle, value = followed(weights, frame, matrix * size, centre + matrix @ shift, passes)
        away = (np.hypot(*(middle - centre)) + abs(np.linalg.det(end) ** 0.5 - radius)) / radius
        ends.append((away, value))
    away = np.array(ends)[:, 0]
    print(f"{len(away)} frames: within 3 % {np.mean(away < 0.03):.2f}, 6 % {np.mean(away < 0.06):.2f}, 10 % {np.mean(away < 0.1):.2f}, median {np.median(away):.4f}")
    return ends


def main():
    options = arguments()
    frames = [(linear(path, encoding)[0], outline) for path, encoding, outline in shots(options.folder, "practice")]
    print(len(frames), "frames", flush=True)
    held = len(frames) // 10
    weights = begin(options.seed)
    if options.begin:
        weights = learning.kept(options.begin, weights)
    rng = np.random.default_rng(options.seed)
    weights = learning.rounded(learning.learned(loss, weights, lambda: batch(frames[held:], rng), options.steps, options.rate))
    if options.out:
        learning.keep(weights, options.out)
    print("practice shots not learned on:")
    test(weights, frames[:held])
    if options.tested:
        test(weights, [(linear(path, encoding)[0], outline) for path, encoding, outline in shots(options.tested, options.half)])


if __name__ == "__main__":
    main()
