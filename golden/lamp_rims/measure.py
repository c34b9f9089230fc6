"""Where the rim of the sphere stands in the lamp photographs of psbox, measured without the program.

    python measure.py FOLDER/psbox_probe1          needs numpy and opencv-python-headless

In sectors of 6 degrees about the published circle the light (sRGB decoded, IEC 61966-2-1) is averaged along the rim. A
sector of a photograph counts where the profile is a plain step up from the sphere to the wall: both sides even (they
change by less than a twentieth of the step over 6 px), and a single crossing of the middle level. A symmetric blur does
not move the middle of such a step. Camera and sphere stood still, so one circle is fitted to the steps of all
photographs, by least squares with Huber weights.
"""

import sys
from pathlib import Path

import cv2
import numpy as np

SECTORS = 60
LINES = 12
REACH_PX = 16.0
SAMPLE_PX = 0.25
EVEN = 0.05
LEAST_STEP = 0.0015


def decoded(code):
    code = code / 255.0
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def published(folder):
    """Centre (px, the first pixel's centre is 0) and radius; the file counts from 1, y from the bottom of 1000 rows."""
    x, y, radius = (float(word) for word in (folder / "circle_data.txt").read_text().split())
    return x - 1, 1000 + 1 - y - 1, radius


def profiles(path, circle):
    """Angle of each sector, offsets from the circle, and the light along them."""
    light = decoded(cv2.imread(str(path)).astype(np.float64)) @ [0.0722, 0.7152, 0.2126]
    turn = np.radians(np.arange(SECTORS * LINES) * 360 / (SECTORS * LINES))
    offsets = np.arange(-REACH_PX, REACH_PX + SAMPLE_PX / 2, SAMPLE_PX)
    map_x = (circle[0] + np.outer(np.cos(turn), circle[2] + offsets)).astype(np.float32)
    map_y = (circle[1] + np.outer(np.sin(turn), circle[2] + offsets)).astype(np.float32)
    lines = cv2.remap(light.astype(np.float32), map_x, map_y, cv2.INTER_LINEAR)
    return turn.reshape(SECTORS, LINES).mean(axis=1), offsets, lines.reshape(SECTORS, LINES, -1).mean(axis=1)


def middle_of_step(offsets, line):
    """Offset of the middle of a plain step up; None where it is none."""

    def mean(low, high):
        return line[(offsets >= low) & (offsets < high)].mean()

    inside = [mean(-REACH_PX, -REACH_PX + 3), mean(-REACH_PX + 3, -REACH_PX + 6)]
    outside = [mean(REACH_PX - 6, REACH_PX - 3), mean(REACH_PX - 3, REACH_PX)]
    step = np.mean(outside) - np.mean(inside)
    if step < LEAST_STEP or max(abs(inside[1] - inside[0]), abs(outside[1] - outside[0])) > EVEN * step:
        return None
    above = line - (np.mean(outside) + np.mean(inside)) / 2
    crossings = np.flatnonzero((above[:-1] < 0) & (above[1:] >= 0))
    if len(crossings) != 1:
        return None
    i = crossings[0]
    return offsets[i] + SAMPLE_PX * above[i] / (above[i] - above[i + 1])


def circle_through(steps):
    """Shift of the centre in x and y, change of the radius, and the scatter of the steps."""
    model = np.stack([np.cos(steps[:, 1]), np.sin(steps[:, 1]), np.ones(len(steps))], axis=1)
    weight = np.ones(len(steps))
    for _ in range(50):
        root = np.sqrt(weight)
        fit = np.linalg.lstsq(model * root[:, None], steps[:, 2] * root, rcond=None)[0]
        left = np.abs(steps[:, 2] - model @ fit)
        scatter = 1.4826 * np.median(left)
        weight = np.minimum(1, 1.345 * scatter / np.maximum(left, 1e-9))
    return fit, scatter


def main():
    folder = Path(sys.argv[1])
    circle = published(folder)
    steps = []
    for number, path in enumerate([folder / "ref.JPG", *sorted(folder.glob("Image_*.JPG"))]):
        angles, offsets, lines = profiles(path, circle)
        found = [(number, angle, middle_of_step(offsets, line)) for angle, line in zip(angles, lines)]
        steps += [step for step in found if step[2] is not None]
    steps = np.array(steps, dtype=float)
    fit, scatter = circle_through(steps)
    apart = max(np.hypot(fit[0], fit[1]), abs(fit[2])) / circle[2]
    print(f"numpy {np.__version__}, OpenCV {cv2.__version__}")
    print(f"{len(steps)} plain steps in {len(set(steps[:, 0]))} photographs, scatter about one circle {scatter:.2f} px")
    print("against the published circle: centre %+.2f %+.2f px, radius %+.2f px" % tuple(fit), end="")
    print(f" ({100 * apart:.2f} % of the radius)")
    print("degrees from the right, clockwise: mean offset of the steps, px (scatter, number)")
    for start in range(0, 360, 30):
        here = steps[(np.degrees(steps[:, 1]) >= start) & (np.degrees(steps[:, 1]) < start + 30), 2]
        if len(here):
            print(f"  {start:3} to {start + 30:3}: {here.mean():+.2f} ({here.std():.2f}, {len(here)})")


main()
