"""Learns where in a frame a mirror sphere may stand (src/sphere/find/glance): places that the search then looks at closely.

    python learn_glance.py DIR --out glance.bin [--tested DIR2 --half work]

DIR holds the practice shots (make_shots.py --half practice). A fully convolutional net sees brightness on planes of halving
resolution and answers for every fourth sample each way: how likely a sphere of 8 to 20 samples' radius has its centre there, and
where centre and rim lie. Learned on the practice shots alone; `--tested` tells how many spheres of other shots are among the places.
"""

import json
from pathlib import Path

import cv2
import jax
import jax.numpy as jnp
import numpy as np
import OpenEXR

import files
import learning

CHANNELS = (8, 16, 24, 24, 32, 32)
STRIDES = (2, 1, 2, 1, 1, 1)
DILATIONS = (1, 1, 1, 1, 2, 4)
STEP, MIDDLE_RADIUS, RADII = 4, 12.0, (8.0, 20.0)
CROP = 96
EIGHT_BIT_KNEE = 2 / 255 / 12.92
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)


def arguments():
    parser = learning.parser(__doc__, steps=1500)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tested", type=Path)
    parser.add_argument("--half", default="work")
    return parser.parse_args()


def inverse(curve):
    light = np.concatenate([np.linspace(-0.02, 0.02, 400), np.geomspace(0.0201, 60, 4000)])
    codes = files.CURVES[curve](light)
    return lambda values: np.interp(values, codes, light).astype(np.float32)


def linear(path, encoding):
    """Linear rec709, and whether the file has 8 bits."""
    if path.suffix == ".exr":
        with OpenEXR.File(str(path)) as file:
            channels = file.channels()
            pixels = next(iter(channels.values())).pixels if len(channels) == 1 else np.stack([channels[c].pixels for c in "RGB"], -1)
        values, eight = np.asarray(pixels, np.float32), False
    else:
        stored = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[..., ::-1]
        eight = stored.dtype == np.uint8
        values = stored.astype(np.float32) / (255 if eight else 65535)
    if encoding in files.CURVES:
        return inverse(encoding)(values), eight
    if path.suffix == ".exr":
        return values, eight
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4), eight


def plane(path, encoding):
    """Brightness at half resolution, compressed as the search compresses it, mean 0 and sd 1 over the frame."""
    rgb, eight = linear(path, encoding)
    light = rgb @ LUMINANCE
    half = halved(light)
    coarse = halved(half)
    shown = coarse[coarse > 0]
    knee = max(np.quantile(shown, 0.2), np.quantile(shown, 0.9) * 1e-3, EIGHT_BIT_KNEE if eight else 0)
    return toned(half, knee), half, knee


def halved(a):
    a = a[: a.shape[0] // 2 * 2, : a.shape[1] // 2 * 2]
    return a.reshape(a.shape[0] // 2, 2, a.shape[1] // 2, 2).mean((1, 3))


def toned(light, knee):
    values = np.log1p(np.maximum(light, 0) / knee)
    return ((values - values.mean()) / (values.std() + 1e-3)).astype(np.float32)


def shots(folder, half):
    """For every frame: file, encoding, mirror spheres in it as (x, y, r) px."""
    found = []
    for path in sorted(folder.glob(f"{half}_*/truth.json")):
        truth, sheet = json.loads(path.read_text()), json.loads((path.parent / "shot.json").read_text())
        others = [o["outline_px"] for o in truth.get("other_spheres", []) if o["name"] == "second_mirror"]
        bracket = sheet["mirrors"][0]["bracket"]
        for entry, shift in zip(bracket, truth["bracket"]["shift_px"]):
            own = truth["sphere"]["outline_px"]
            outlines = [[own[0] + shift[0], own[1] + shift[1], *own[2:4]]] + [o[:4] for o in others]
            found.append((path.parent / entry["frame"], entry.get("encoding"), [(o[0], o[1], (o[2] * o[3]) ** 0.5) for o in outlines]))
        if "plate" in sheet:
            found.append((path.parent / sheet["plate"]["frame"], sheet["plate"].get("encoding"), [(o[0], o[1], (o[2] * o[3]) ** 0.5) for o in others]))
    return found


def begin(seed):
    rng, weights = np.random.default_rng(seed), []
    for inward, outward in zip((1, *CHANNELS), CHANNELS):
        weights += [rng.normal(0, (2 / (9 * inward)) ** 0.5, (outward, inward, 3, 3)), np.zeros(outward)]
    weights += [rng.normal(0, 0.02, (4, CHANNELS[-1], 1, 1)), np.array([-4.0, 0, 0, 0])]
    return [jnp.asarray(w, jnp.float32) for w in weights]


def glance(weights, x):
    for layer, (stride, dilation) in enumerate(zip(STRIDES, DILATIONS)):
        x = jax.lax.conv_general_dilated(x, weights[2 * layer], (stride, stride), [(dilation, dilation)] * 2, rhs_dilation=(dilation, dilation))
        x = jax.nn.relu(x + weights[2 * layer + 1][None, :, None, None])
    return jax.lax.conv_general_dilated(x, weights[-2], (1, 1), "VALID") + weights[-1][None, :, None, None]


def loss(weights, x, truth, counted, place, placed):
    out = glance(weights, x)
    value = out[:, 0]
    chance = jax.nn.sigmoid(value)
    cross = jnp.maximum(value, 0) - value * truth + jnp.log1p(jnp.exp(-jnp.abs(value)))
    hard = jnp.where(truth > 0, 1 - chance, chance) ** 2
    sort = (cross * hard * counted).sum() / (truth.sum() + 1)
    off = (jnp.abs(out[:, 1:] - place) * placed[:, None]).sum() / (placed.sum() + 1)
    decay = sum((w ** 2).sum() for w in weights[::2])
    return sort + 0.5 * off + 2e-5 * decay


def example(picture, spheres, rng):
    """A crop of one frame at some size: brightness and what is asked of every cell."""
    scale = float(rng.choice([1, 0.5, 0.25])) * rng.uniform(0.7, 1)
    chosen = spheres[rng.integers(len(spheres))] if spheres and rng.uniform() < 0.75 else None
    if chosen:
        scale = min(1.2, np.exp(rng.uniform(np.log(6.5), np.log(25))) / (chosen[2] / 2))
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
    spheres = [(x / 2 * scale - 0.5, y / 2 * scale - 0.5, r / 2 * scale) for x, y, r in spheres]
    small = cv2.copyMakeBorder(small, CROP, CROP, CROP, CROP, cv2.BORDER_CONSTANT, value=0)
    height, width = small.shape
    if chosen:
        chosen = chosen[0] / 2 * scale - 0.5, chosen[1] / 2 * scale - 0.5
        left, top = (int(chosen[k] + CROP - CROP / 2 + rng.uniform(-0.4, 0.4) * CROP) for k in (0, 1))
    else:
        left, top = int(rng.uniform(CROP * 0.6, max(CROP * 0.7, width - 1.6 * CROP))), int(rng.uniform(CROP * 0.6, max(CROP * 0.7, height - 1.6 * CROP)))
    left, top = min(max(left, 0), width - CROP), min(max(top, 0), height - CROP)
    crop = small[top:top + CROP, left:left + CROP].copy()
    spheres = [(x + CROP - left, y + CROP - top, r) for x, y, r in spheres]
    if rng.uniform() < 0.5:
        crop, spheres = crop[:, ::-1], [(CROP - 1 - x, y, r) for x, y, r in spheres]
    crop = crop * np.exp(rng.normal(0, 0.25)) + rng.normal(0, 0.15) + rng.normal(0, np.exp(rng.uniform(np.log(0.003), np.log(0.12))), crop.shape)
    return crop, spheres


def asked(spheres):
    cells = CROP // STEP
    truth, counted, placed = np.zeros((cells, cells)), np.ones((cells, cells)), np.zeros((cells, cells))
    place = np.zeros((3, cells, cells))
    rows, columns = np.mgrid[:cells, :cells] * STEP
    for x, y, r in spheres:
        away = np.maximum(np.abs(columns - x), np.abs(rows - y))
        near = np.hypot(columns - x, rows - y) < max(6.0, 0.5 * r)
        counted[near] = 0
        if RADII[0] <= r < RADII[1] and 0 <= x < CROP and 0 <= y < CROP:
            at = np.unravel_index(np.argmin(np.hypot(columns - x, rows - y)), away.shape)
            truth[at] = counted[at] = 1
            beside = away <= 1.5 * STEP
            placed[beside] = 1
            place[:, beside] = np.stack([(x - columns[beside]) / STEP, (y - rows[beside]) / STEP, np.full(beside.sum(), 3 * np.log(r / MIDDLE_RADIUS))])
    return truth, counted, place, placed


def batch(pictures, rng, size=32):
    crops, answers = [], []
    for _ in range(size):
        picture, spheres = pictures[rng.integers(len(pictures))]
        crop, spheres = example(picture, spheres, rng)
        crops.append(crop)
        answers.append(asked(spheres))
    truth, counted, place, placed = (np.stack(a).astype(np.float32) for a in zip(*answers))
    return np.stack(crops)[:, None].astype(np.float32), truth, counted, place, placed


def places(weights, half, knee, most=12):
    """Likeliest places of one frame: (ln odds, x, y, r) px."""
    found, level, scale = [], half, 2
    while min(level.shape) >= 24:
        out = np.asarray(run(weights, jnp.asarray(toned(level, knee)[None, None])))[0]
        value = out[0]
        highest = cv2.dilate(value, np.ones((3, 3)))
        for row, column in zip(*np.nonzero((value == highest) & (value > -5))):
            x = (column * STEP + STEP * out[1, row, column] + 0.5) * scale
            y = (row * STEP + STEP * out[2, row, column] + 0.5) * scale
            found.append((value[row, column], x, y, scale * MIDDLE_RADIUS * np.exp(out[3, row, column] / 3)))
        level, scale = halved(level), scale * 2
    kept = []
    for one in sorted(found, reverse=True):
        if all(np.hypot(one[1] - k[1], one[2] - k[2]) + abs(one[3] - k[3]) > 0.3 * k[3] for k in kept):
            kept.append(one)
    return kept[:most]


run = jax.jit(glance)


def test(weights, frames):
    ranks, total = [], 0
    for path, encoding, spheres in frames:
        if path.name.startswith("plate") or not spheres:
            continue
        _, half, knee = plane(path, encoding)
        while half.size > 700_000:
            half = halved(half)
        total += 1
        x, y, r = spheres[0]
        scale = round(linear_size(path) / half.shape[1] / 2) * 2
        near = [i for i, p in enumerate(places(weights, half, knee)) if np.hypot(p[1] * scale / 2 - x, p[2] * scale / 2 - y) + abs(p[3] * scale / 2 - r) < 0.3 * r]
        ranks.append(near[0] if near else 99)
    ranks = np.array(ranks)
    print(f"{total} frames: first {np.mean(ranks == 0):.2f}, among three {np.mean(ranks < 3):.2f}, among twelve {np.mean(ranks < 12):.2f}")


def linear_size(path):
    if path.suffix == ".exr":
        with OpenEXR.File(str(path)) as file:
            return next(iter(file.channels().values())).pixels.shape[1]
    return cv2.imread(str(path), cv2.IMREAD_UNCHANGED).shape[1]


def main():
    options = arguments()
    frames = shots(options.folder, "practice")
    pictures = [(plane(path, encoding)[0], spheres) for path, encoding, spheres in frames]
    print(len(pictures), "frames", flush=True)
    rng = np.random.default_rng(options.seed)
    weights = learning.rounded(learning.learned(loss, begin(options.seed), lambda: batch(pictures, rng), options.steps, 3e-3))
    if options.out:
        learning.keep(weights, options.out)
    if options.tested:
        test(weights, shots(options.tested, options.half))


if __name__ == "__main__":
    main()
