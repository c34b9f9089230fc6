"""Writes small HEIC files through libheif (pillow-heif) and what it decodes them to.

Needs numpy, pillow, pillow-heif.
"""
import json
import pathlib

import numpy
import pillow_heif
from PIL import Image, ImageCms

HERE = pathlib.Path(__file__).parent
SIZE = (32, 48)
STEP = 5  # of the pixels that are kept in `expected.json`


def scene(top):
    """A smooth picture with a bright spot, as a lamp leaves it."""
    rows, columns = numpy.mgrid[0 : SIZE[0], 0 : SIZE[1]]
    spot = numpy.exp(-((rows - 9.0) ** 2 + (columns - 31.0) ** 2) / 18.0)
    rgb = numpy.stack([0.15 + 0.5 * columns / SIZE[1], 0.2 + 0.4 * rows / SIZE[0], 0.5 - 0.3 * columns / SIZE[1]], axis=2)
    return numpy.clip((rgb + spot[:, :, None]) * top, 0, top).round()


def exif(orientation):
    image = Image.new("RGB", (1, 1))
    tags = image.getexif()
    tags[0x010F], tags[0x0110], tags[0x0112] = "ferry", "cam", orientation
    inner = tags.get_ifd(0x8769)
    inner[0x829A], inner[0x829D], inner[0x8827], inner[0x920A] = 0.02, 2.0, 50, 5.5
    return tags.tobytes()


def expected(path):
    picture = pillow_heif.open_heif(path, convert_hdr_to_8bit=False, bgr_mode=False)
    array = numpy.asarray(picture)
    bits = picture.info["bit_depth"]
    # Deeper pictures come as 16-bit numbers, moved up.
    codes = array if bits == 8 else array >> (16 - bits)
    return {"size": list(picture.size), "bits": bits, "codes": codes.reshape(-1, codes.shape[2]).tolist()}


def main():
    eight, ten = scene(255).astype(numpy.uint8), (scene(1023).astype(numpy.uint16) << 6)
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    codes = {"color_primaries": 12, "transfer_characteristics": 13, "matrix_coefficients": 6, "full_range_flag": 1}
    grid = numpy.tile(eight, (5, 4, 1))
    files = {
        "eight.heic": (eight, {"quality": 95, "chroma": 444}),
        "half_chroma.heic": (eight, {"quality": 90, "chroma": 420, "exif": exif(1)}),
        "profile.heic": (eight, {"quality": 90, "icc_profile": srgb}),
        "turned.heic": (eight, {"quality": 90, "exif": exif(6)}),
        "mirrored.heic": (eight, {"quality": 90, "exif": exif(2)}),
        "wide_gamut.heic": (eight, {"quality": 90, "save_nclx_profile": True, **codes}),
        "cut_out.heic": (numpy.dstack([eight, 255 - eight[:, :, 2]]), {"quality": 95, "chroma": 444}),
        "ten.heic": (ten, {"quality": 95, "chroma": 444}),
        "larger.heic": (grid, {"quality": 40, "chroma": 420}),
    }
    found = {}
    for name, (array, options) in files.items():
        mode = ("RGBA" if array.shape[2] == 4 else "RGB") if array.dtype == numpy.uint8 else "RGB;16"
        height, width = array.shape[:2]
        out = pillow_heif.from_bytes(mode=mode, size=(width, height), data=array.tobytes())
        if "icc_profile" in options:
            out.info["icc_profile"] = options.pop("icc_profile")
        out.save(HERE / name, **options)
        found[name] = expected(HERE / name)
        found[name]["codes"] = found[name]["codes"][:: STEP]
    (HERE / "expected.json").write_text(json.dumps(found) + "\n")


if __name__ == "__main__":
    main()
