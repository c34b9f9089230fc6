"""Writes small JPEG XL files through libjxl (pillow-jxl-plugin) and what it decodes them to. Needs pillow and pillow-jxl-plugin."""
import json
import pathlib

import numpy
import pillow_jxl  # noqa: F401, makes Pillow read and write it
from PIL import Image

HERE = pathlib.Path(__file__).parent


def main():
    random = numpy.random.default_rng(20261130)
    x, y = numpy.meshgrid(numpy.arange(24), numpy.arange(16))
    smooth = numpy.stack([120 + 5 * x, 40 + 8 * y, 200 - 4 * x + 2 * y], axis=2)
    picture = Image.fromarray(numpy.clip(smooth + random.integers(-9, 10, smooth.shape), 0, 255).astype(numpy.uint8))
    exif = Image.Exif()
    exif[0x0110] = "ferry cam"
    exif[0x0112] = 6  # turn it; the codestream outranks this
    exif.get_ifd(0x8769)[0x829A] = 0.02
    picture.save(HERE / "lossless.jxl", lossless=True)
    picture.save(HERE / "lossy.jxl", quality=80)
    picture.save(HERE / "with_exif.jxl", lossless=True, exif=bytes(4) + exif.tobytes())  # the box begins with the place of the TIFF header
    picture.convert("L").save(HERE / "grey.jxl", lossless=True)
    expected = {}
    for file in sorted(HERE.glob("*.jxl")):
        with Image.open(file) as back:
            expected[file.name] = {"size": back.size, "codes": numpy.asarray(back.convert("RGB")).reshape(-1, 3).tolist()}
        print(file.name, file.stat().st_size, expected[file.name]["size"])
    (HERE / "expected.json").write_text(json.dumps(expected) + "\n")


if __name__ == "__main__":
    main()
