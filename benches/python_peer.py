"""What the same work costs with numpy, OpenCV and the OpenEXR Python package.

    python_peer.py read  plate.exr mirror.exr cg.exr    seconds of a full read of the three frames, after the start
    python_peer.py check plate.exr mirror.exr cg.exr    the core of the comparison, with seconds and versions
    python_peer.py seconds 5 plate.exr mirror.exr cg.exr    seconds of the same for one shot, when it is done 5 times

`check` does what a careful script would: both spheres' outlines (mirror: circles in a reduced picture, then a fit;
CG: coverage), both unwrapped by direction, blurred and compared, the keys' directions and the exposure error, and the
drift on the background. It knows neither uncertainties nor rivals, nor any of the program's refusals.
"""

import sys
import time

import cv2
import numpy as np
import OpenEXR


def read(path):
    """All channels of a file as float32, red, green, blue and coverage."""
    channels = OpenEXR.File(path).channels()
    if "RGBA" in channels:
        pixels = channels["RGBA"].pixels
        return pixels[..., :3], pixels[..., 3]
    if "RGB" in channels:
        return channels["RGB"].pixels, None
    planes = [channels[name].pixels for name in "RGB"]
    return np.dstack(planes), channels["A"].pixels if "A" in channels else None


def circle_of_alpha(alpha):
    """Centre and radius from the area and the centroid of coverage."""
    alpha = alpha.astype(np.float32)
    moments = cv2.moments(alpha)
    area = moments["m00"]
    return moments["m10"] / area + 0.5, moments["m01"] / area + 0.5, np.sqrt(area / np.pi)


def circle_of_picture(rgb, expected_radius):
    """The strongest circle of about the expected radius."""
    scale = 512.0 / rgb.shape[1]
    grey = cv2.resize(rgb.astype(np.float32), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) @ WEIGHTS
    grey = np.clip(255 * grey / max(np.percentile(grey, 99), 1e-6), 0, 255).astype(np.uint8)
    radius = expected_radius * scale
    found = cv2.HoughCircles(
        grey, cv2.HOUGH_GRADIENT_ALT, 1.5, radius, param1=200, param2=0.5, minRadius=int(0.8 * radius),
        maxRadius=int(1.2 * radius)
    )
    return None if found is None else [value / scale for value in found[0][0][:3]]


def unwrapped(rgb, circle, columns=360):
    """Radiance by direction (latitude, longitude), seen from far away."""
    azimuth = np.radians((np.arange(columns) + 0.5) / columns * 360 - 180)
    elevation = np.radians(90 - (np.arange(columns // 2) + 0.5) / (columns // 2) * 180)
    azimuth, elevation = np.meshgrid(azimuth, elevation)
    x, y, z = np.sin(azimuth) * np.cos(elevation), np.sin(elevation), np.cos(azimuth) * np.cos(elevation)
    half = np.sqrt(np.maximum(x * x + y * y + (z + 1) ** 2, 1e-9))
    map_x = (circle[0] + circle[2] * x / half - 0.5).astype(np.float32)
    map_y = (circle[1] - circle[2] * y / half - 0.5).astype(np.float32)
    return cv2.remap(rgb.astype(np.float32), map_x, map_y, cv2.INTER_LINEAR), (x, y, z), np.cos(elevation)


def key(picture, directions):
    """Mean direction of the brightest region."""
    bright = cv2.GaussianBlur(picture @ WEIGHTS, (0, 0), 4)
    mask = bright > 0.5 * bright.max()
    return np.array([np.average(axis[mask], weights=bright[mask]) for axis in directions])


def drift(plate, mirror, circle):
    """Median log ratio of the background, outside the sphere and the stand below it."""
    small = [cv2.resize(p.astype(np.float32), None, fx=1 / 8, fy=1 / 8, interpolation=cv2.INTER_AREA) @ WEIGHTS
             for p in (plate, mirror)]
    (dx, dy), _ = cv2.phaseCorrelate(np.log(np.maximum(small[0], 1e-4)), np.log(np.maximum(small[1], 1e-4)))
    moved = cv2.warpAffine(small[1], np.float32([[1, 0, -dx], [0, 1, -dy]]), small[1].shape[::-1])
    rows, columns = np.mgrid[: moved.shape[0], : moved.shape[1]] * 8 + 4
    reach = np.abs(columns - circle[0]) < 1.2 * circle[2]
    mask = ~(reach & (rows > circle[1] - 1.2 * circle[2])) & (small[0] > 1e-3) & (moved > 1e-3)
    return float(np.median(np.log2(moved[mask] / small[0][mask])))


WEIGHTS = np.float32([0.2126, 0.7152, 0.0722])


def compare(paths):
    """Time when all was read, angle between the keys, exposure error, drift."""
    (plate, _), (mirror, _), (cg, alpha) = (read(path) for path in paths)
    read_at = time.perf_counter()
    rendered = circle_of_alpha(alpha)
    photographed = circle_of_picture(mirror, rendered[2]) or rendered
    (ours, directions, weight), (theirs, _, _) = unwrapped(mirror, photographed), unwrapped(cg, rendered)
    angle = np.degrees(np.arccos(np.clip(np.dot(*(k / np.linalg.norm(k) for k in
                                                   (key(ours, directions), key(theirs, directions)))), -1, 1)))
    blurred = [cv2.GaussianBlur(picture @ WEIGHTS, (0, 0), 5) for picture in (ours, theirs)]
    stops = np.log2(np.sum(blurred[1] * weight) / np.sum(blurred[0] * weight))
    return read_at, angle, stops, drift(plate, mirror, photographed)


def check(paths):
    start = time.perf_counter()
    read_at, angle, stops, stops_of_drift = compare(paths)
    end = time.perf_counter()
    print(
        f"  python {sys.version.split()[0]}, numpy {np.__version__}, OpenCV {cv2.__version__}, OpenEXR "
        f"{OpenEXR.__version__}: core of the comparison {1e3 * (end - start):.0f} ms, of it reading "
        f"{1e3 * (read_at - start):.0f} ms (key {angle:.1f} deg apart, CG {stops:+.2f} stops, drift "
        f"{stops_of_drift:+.3f} stops)"
    )


def main():
    what, paths = sys.argv[1], sys.argv[2:]
    if what == "check":
        check(paths)
        return
    if what == "seconds":
        start = time.perf_counter()
        for _ in range(int(paths[0])):
            compare(paths[1:])
        print((time.perf_counter() - start) / int(paths[0]))
        return
    start = time.perf_counter()
    for path in paths:
        read(path)
    print(time.perf_counter() - start)


main()
