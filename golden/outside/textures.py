"""Photographic textures from installed packages, and a few made from noise. All are linear reflectance, float32."""

import functools
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

PHOTOGRAPHS = {
    # name: (package, file, left, top, right, bottom as fractions)
    "brick": ("skimage", "brick.png", 0, 0, 1, 1),
    "gravel": ("skimage", "gravel.png", 0, 0, 1, 1),
    "grass": ("skimage", "grass.png", 0, 0, 1, 1),
    "cup_on_wood": ("skimage", "coffee.png", 0, 0, 1, 1),
    "dark_wood": ("skimage", "coffee.png", 0.81, 0, 1, 1),
    "cat": ("skimage", "chelsea.png", 0, 0, 1, 1),
    "night_sky": ("skimage", "hubble_deep_field.jpg", 0, 0, 1, 1),
    "coins": ("skimage", "coins.png", 0, 0, 1, 1),
    "pagoda": ("sklearn", "china.jpg", 0, 0, 1, 1),
    "flower": ("sklearn", "flower.jpg", 0, 0, 1, 1),
}
POSTERS = ("cat", "pagoda", "flower", "cup_on_wood", "night_sky", "pagoda")
TINTS = {
    "brick": ((0.30, 0.13, 0.09), (0.38, 0.33, 0.28), (0.45, 0.43, 0.40)),
    "gravel": ((0.24, 0.21, 0.18), (0.30, 0.30, 0.31)),
    "grass": ((0.07, 0.13, 0.03), (0.12, 0.14, 0.05)),
    "coins": ((0.22, 0.18, 0.12),),
}


def package_folder(package):
    if package == "skimage":
        import skimage
        return Path(skimage.__file__).parent / "data"
    import sklearn.datasets
    return Path(sklearn.datasets.__file__).parent / "images"


@functools.cache
def photograph(name):
    package, file, left, top, right, bottom = PHOTOGRAPHS[name]
    pixels = np.asarray(Image.open(package_folder(package) / file).convert("RGB"))
    height, width = pixels.shape[:2]
    pixels = pixels[int(top * height):int(bottom * height), int(left * width):int(right * width)]
    return (pixels / 255.0).astype(np.float32) ** 2.2


def tinted_photograph(name, rng):
    pixels = photograph(name)
    if name == "brick":
        pixels = np.rot90(pixels)
    if name == "dark_wood":
        pixels = 0.35 * pixels + 0.3 * pixels.mean(-1, keepdims=True)
    if name in TINTS:
        tint = np.array(TINTS[name][rng.integers(len(TINTS[name]))], np.float32)
        pixels = pixels / pixels.mean() * tint * rng.uniform(0.8, 1.25)
    return np.clip(pixels, 0.004, 0.85)


def noise(rng, height, width, octaves=6, stretch=1.0):
    """Sum of interpolated random grids, each twice as fine and half as strong; mean 0, deviation 1."""
    total = np.zeros((height, width), np.float32)
    for octave in range(octaves):
        rows, columns = max(2, int(2 ** (octave + 1))), max(2, int(2 ** (octave + 1) / stretch))
        grid = rng.normal(size=(rows, columns)).astype(np.float32)
        total += cv2.resize(grid, (width, height), interpolation=cv2.INTER_CUBIC) * 0.6 ** octave
    return (total - total.mean()) / total.std()


def planks(rng, size=768):
    colour = np.array([(0.22, 0.12, 0.06), (0.33, 0.22, 0.13), (0.11, 0.07, 0.045), (0.42, 0.33, 0.23)][rng.integers(4)], np.float32)
    grain = noise(rng, size, size, 8, stretch=14)
    rows = np.arange(size) * 6 // size
    shade = rng.uniform(0.75, 1.2, 6)[rows][:, None] * np.exp(0.16 * grain)
    gap = np.abs((np.arange(size) * 6.0 / size) % 1 - 0.5) > 0.488
    shade[gap] *= 0.25
    return np.clip(shade[..., None] * colour, 0.004, 0.8).astype(np.float32)


def plaster(rng, size=512):
    colour = rng.uniform(0.25, 0.62) * np.exp(rng.normal(0, 0.09, 3))
    shade = np.exp(0.07 * noise(rng, size, size, 8))
    return np.clip(shade[..., None] * colour, 0.02, 0.85).astype(np.float32)


def cloth(rng, size=512):
    colour = rng.uniform(0.04, 0.4) * np.exp(rng.normal(0, 0.16, 3))
    across, down = np.meshgrid(np.arange(size), np.arange(size))
    weave = 1 + 0.16 * np.sin(across * np.pi / 2) * np.sin(down * np.pi / 2)
    stripes = 1 + 0.35 * rng.integers(0, 2) * (((across // 48) % 2) - 0.5)
    shade = weave * stripes * np.exp(0.12 * noise(rng, size, size, 5))
    return np.clip(shade[..., None] * colour, 0.004, 0.85).astype(np.float32)


def tiles(rng, size=512):
    light, dark = rng.uniform(0.35, 0.7), rng.uniform(0.06, 0.6)
    cell = np.arange(size) * 4 // size
    checks = (cell[:, None] + cell[None]) % 2
    shade = np.where(checks, light, dark) * np.exp(0.08 * noise(rng, size, size, 7))
    joint = np.abs((np.arange(size) * 4.0 / size) % 1 - 0.5) > 0.485
    shade[joint], shade[:, joint] = 0.15, 0.15
    return np.clip(shade[..., None] * np.exp(rng.normal(0, 0.06, 3)), 0.004, 0.85).astype(np.float32)


def concrete(rng, size=512):
    shade = rng.uniform(0.16, 0.36) * np.exp(0.15 * noise(rng, size, size, 9))
    return np.clip(np.repeat(shade[..., None], 3, 2) * np.exp(rng.normal(0, 0.03, 3)), 0.01, 0.8).astype(np.float32)


def page(rng, height=420, width=300):
    """A typed page of a script, seen from too far to read."""
    paper = np.full((height, width), 0.78, np.float32)
    for top in range(36, height - 36, 11):
        left, right = (90, 210) if rng.uniform() < 0.3 else (40, int(rng.uniform(150, width - 30)))
        if rng.uniform() < 0.85:
            ink = (rng.uniform(size=(1, (right - left) // 2)) < 0.75).repeat(2, 1).repeat(5, 0)
            paper[top:top + 5, left:left + ink.shape[1]] *= 1 - 0.65 * ink
    return np.repeat(cv2.GaussianBlur(paper, (0, 0), 0.6)[..., None], 3, 2)


MADE = {"planks": planks, "plaster": plaster, "cloth": cloth, "tiles": tiles, "concrete": concrete}


def reflectance(name, rng):
    return MADE[name](rng) if name in MADE else tinted_photograph(name, rng)


def scratches(rng, count, size=1024):
    """1 where a fine scratch runs, 0 elsewhere."""
    lines = np.zeros((size, size), np.float32)
    for _ in range(count):
        start, angle = rng.uniform(0, size, 2), rng.uniform(0, 2 * np.pi)
        end = start + rng.uniform(0.05, 0.5) * size * np.array([np.cos(angle), np.sin(angle)])
        cv2.line(lines, tuple(int(v) for v in start), tuple(int(v) for v in end), float(rng.uniform(0.3, 1)), 1, cv2.LINE_AA)
    return lines


def dust(rng, amount, size=512):
    patches = np.clip(amount * (1 + 0.5 * noise(rng, size, size, 5)), 0, 0.8)
    specks = (rng.uniform(size=(size, size)) < 0.004).astype(np.float32)
    return np.clip(patches + 0.6 * cv2.GaussianBlur(specks, (0, 0), 0.8), 0, 0.95).astype(np.float32)
