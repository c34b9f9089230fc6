"""Writes a bracket of JPEG files developed by a known camera curve, and what OpenCV makes of it.

Needs numpy, pillow and opencv-python-headless; the versions used are written into expected.json.
The picture is made up: smooth random waves of light over about nine stops.
"""
import json
import pathlib

import cv2
import numpy
import PIL
from PIL import Image

HERE = pathlib.Path(__file__).parent
WIDTH, HEIGHT = 240, 180
STOPS = [-4.0, -2.0, 0.0, 2.0]
GREY = 0.18
CONTRAST = [1.30, 1.25, 1.20]
TINT = [1.0, 0.85, 0.65]


def light():
    """Scene light per pixel and channel."""
    random = numpy.random.default_rng(20261125)
    x, y = numpy.meshgrid(numpy.arange(WIDTH) + 0.5, numpy.arange(HEIGHT) + 0.5)
    waves = numpy.zeros((HEIGHT, WIDTH))
    for _ in range(14):
        length = 45.0 * 4.0 ** random.random()
        angle, phase = 2 * numpy.pi * random.random(2)
        waves += numpy.sin(2 * numpy.pi / length * (x * numpy.cos(angle) + y * numpy.sin(angle)) + phase)
    waves *= 2.2 / waves.std()
    return GREY * 2.0 ** (waves[..., None]) * numpy.array(TINT)


def srgb(v):
    return numpy.where(v <= 0.0031308, 12.92 * v, 1.055 * numpy.maximum(v, 1e-9) ** (1 / 2.4) - 0.055)


def developed(scene):
    """The camera: contrast around grey, a soft shoulder, sRGB."""
    lifted = GREY * (scene / GREY) ** numpy.array(CONTRAST)
    shoulder = lifted / (1 + (lifted / 1.7) ** 3) ** (1 / 3)
    return numpy.clip(srgb(shoulder) * 1.02, 0, 1)


def curve_truth():
    """Base-2 logarithm of the light behind each code, 18 % grey at code 118."""
    fine = GREY * 2.0 ** numpy.linspace(-14, 8, 40000)
    out = []
    for c in range(3):
        codes = developed(numpy.stack([fine] * 3, axis=-1))[:, c] * 255
        rising, first = numpy.unique(codes, return_index=True)
        inverse = numpy.interp(numpy.arange(256), rising, numpy.log2(fine[first]))
        out.append((inverse - inverse[118] + numpy.log2(GREY)).tolist())
    return out


def main():
    scene = light()
    random = numpy.random.default_rng(7)
    files = []
    for stops in STOPS:
        code = developed(scene * 2.0**stops) * 255 + random.normal(0, 0.7, scene.shape)
        name = f"e{stops:+.0f}.jpg"
        picture = Image.fromarray(numpy.clip(code.round(), 0, 255).astype(numpy.uint8))
        picture.save(HERE / name, quality=96, subsampling=0)
        files.append(name)
    images = [cv2.imread(str(HERE / name)) for name in files]
    times = numpy.array([2.0**s for s in STOPS], dtype=numpy.float32)
    response = cv2.createCalibrateDebevec(samples=400, lambda_=20.0).process(images, times)
    radiance = cv2.createMergeDebevec().process(images, times, response)
    log2 = numpy.log2(numpy.maximum(response[:, 0, ::-1], 1e-9))
    log2 = log2 - log2[118] + numpy.log2(GREY)
    truth = numpy.array(curve_truth())
    inside = slice(25, 236)
    worst = numpy.abs(log2.T - truth)[:, inside].max()
    anchor = numpy.array([2.0 ** (t[118]) for t in truth])
    # The merged picture against the scene, one factor a channel taken out as the anchoring of the curve does.
    ratio = numpy.log2(radiance[..., ::-1] / scene)
    ratio -= numpy.median(ratio, axis=(0, 1))
    errors = numpy.sort(numpy.abs(ratio[..., 1]).ravel())
    expected = {
        "versions": {"opencv": cv2.__version__, "numpy": numpy.__version__, "pillow": PIL.__version__},
        "stops": STOPS,
        "files": files,
        "truth_log2_light_rgb": [[round(v, 5) for v in t] for t in truth.tolist()],
        "opencv_log2_light_rgb": [[round(float(v), 5) for v in t] for t in log2.T],
        "opencv_worst_error_stops_codes_25_to_235": round(float(worst), 4),
        "opencv_merge_median_error_stops": round(float(errors[len(errors) // 2]), 4),
        "opencv_merge_p95_error_stops": round(float(errors[len(errors) * 95 // 100]), 4),
        "scene_green_every_12th": [[round(float(v), 6) for v in row[::12, 1]] for row in scene[::12]],
        "sampled_every_px": 12,
        "grey_by_channel": anchor.tolist(),
    }
    (HERE / "expected.json").write_text(json.dumps(expected) + "\n")
    print({k: v for k, v in expected.items() if "opencv_w" in k or "merge" in k or k == "versions"})


main()
