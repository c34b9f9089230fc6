"""Writes small raw stills and what independent libraries read out of them.

The directories are written here, lossless JPEG by imagecodecs (liblj92), one file whole by PiDNG. LibRaw (rawpy) reads every file:
its codes, black and white levels, colours of photosites and white balance go to `expected.json`, averaged by block with
numpy. Where the light is daylight LibRaw also develops the picture, at half size, to linear BT.709. The matrices of another light
are colour-hdri's. Needs numpy, rawpy, imagecodecs, pidng, colour-hdri.
"""
import json
import pathlib
import struct

import colour_hdri
import imagecodecs
import numpy
import rawpy
from pidng.defs import CFAPattern

from pidng_file import COLD, write_mosaic

HERE = pathlib.Path(__file__).parent
BAYER = numpy.array([[0, 1], [1, 2]])
X_TRANS = numpy.array([[1, 2, 1, 1, 0, 1], [0, 1, 0, 2, 1, 2], [1, 2, 1, 1, 0, 1], [1, 0, 1, 1, 2, 1], [2, 1, 2, 0, 1, 0], [1, 0, 1, 1, 2, 1]])
# Invented cameras: near real ones, of none.
WARM = numpy.array([[0.95, -0.35, -0.05], [-0.40, 1.20, 0.22], [-0.05, 0.15, 0.62]])
OWN = numpy.array([[0.97, 0.01, 0.0], [0.0, 1.0, 0.01], [0.0, 0.02, 1.04]])
D65 = numpy.array([0.3127 / 0.3290, 1.0, 0.3583 / 0.3290])
BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10


def daylight():
    values = COLD @ D65
    return values / values[1]


def packed(kind, values):
    if kind == ASCII:
        return values.encode() + b"\0"
    if kind in (BYTE, UNDEFINED):
        return bytes(values)
    if kind == SHORT:
        return struct.pack(f"<{len(values)}H", *values)
    if kind == LONG:
        return struct.pack(f"<{len(values)}I", *values)
    pairs = [part for value in values for part in (round(value * 1_000_000), 1_000_000)]
    return struct.pack(f"<{len(pairs)}{'I' if kind == RATIONAL else 'i'}", *pairs)


SIZES = {BYTE: 1, ASCII: 1, SHORT: 2, LONG: 4, RATIONAL: 8, UNDEFINED: 1, SRATIONAL: 8}


def directory(at, tags):
    """A directory that stands at a place of the file, with its values behind it."""
    values_at = at + 2 + 12 * len(tags) + 4
    head, values = struct.pack("<H", len(tags)), b""
    for tag in sorted(tags):
        kind, content = tags[tag]
        data = packed(kind, content)
        head += struct.pack("<HHI", tag, kind, len(data) // SIZES[kind])
        if len(data) <= 4:
            head += data.ljust(4, b"\0")
        else:
            head += struct.pack("<I", values_at + len(values))
            values += data + b"\0" * (len(data) % 2)
    return head + struct.pack("<I", 0) + values


def write(name, pieces, tags, exif=None, tile=None):
    """Samples first, then EXIF, then the one directory."""
    body, offsets = b"II*\0" + b"\0" * 4, []
    for piece in pieces:
        offsets.append(len(body))
        body += piece + b"\0" * (len(piece) % 2)
    lengths = [len(piece) for piece in pieces]
    if tile is None:
        tags |= {273: (LONG, offsets), 279: (LONG, lengths), 278: (LONG, [tags[257][1][0]])}
    else:
        tags |= {322: (LONG, [tile[1]]), 323: (LONG, [tile[0]]), 324: (LONG, offsets), 325: (LONG, lengths)}
    if exif:
        tags |= {34665: (LONG, [len(body)])}
        body += directory(len(body), exif)
    start = len(body)
    body += directory(start, tags)
    (HERE / name).write_bytes(body[:4] + struct.pack("<I", start) + body[8:])


def common(shape, photometric, bits, neutral, samples=1):
    return {
        254: (LONG, [0]), 256: (LONG, [shape[1]]), 257: (LONG, [shape[0]]), 258: (SHORT, [bits] * samples), 259: (SHORT, [1]),
        262: (SHORT, [photometric]), 271: (ASCII, "Ferry Works"), 272: (ASCII, "Salt 1"), 274: (SHORT, [1]),
        277: (SHORT, [samples]), 284: (SHORT, [1]), 50706: (BYTE, [1, 4, 0, 0]), 50707: (BYTE, [1, 1, 0, 0]),
        50708: (ASCII, "Ferry Works Salt 1"), 50721: (SRATIONAL, WARM.ravel()), 50722: (SRATIONAL, COLD.ravel()),
        50778: (SHORT, [17]), 50779: (SHORT, [21]), 50728: (RATIONAL, neutral),
    }


def mosaic_tags(pattern):
    return {33421: (SHORT, list(pattern.shape)), 33422: (BYTE, list(pattern.ravel())), 50710: (BYTE, [0, 1, 2]), 50711: (SHORT, [1])}


EXIF = {
    33434: (RATIONAL, [1 / 50]), 33437: (RATIONAL, [5.6]), 34855: (SHORT, [400]), 36867: (ASCII, "2026:05:04 06:07:08"),
    37386: (RATIONAL, [35.0]), 41486: (RATIONAL, [12.0]), 41487: (RATIONAL, [10.0]), 41488: (SHORT, [3]), 41987: (SHORT, [1]),
}


def scene(random, shape, black, white):
    """A gradient with noise over the whole range, and a lamp that fills the sensor."""
    rows, columns = numpy.mgrid[0:shape[0], 0:shape[1]]
    codes = black + (white - black) * (0.05 + 0.8 * columns / shape[1]) * (0.6 + 0.4 * rows / shape[0])
    codes = codes + random.normal(0, 0.01 * (white - black), shape)
    codes[shape[0] // 2 : shape[0] // 2 + 4, shape[1] // 2 : shape[1] // 2 + 5] = white
    return numpy.clip(codes.round(), 0, white).astype(numpy.uint16)


def blocks(raw, side, first, size):
    """Means of the colours of each block as shares of the way from black to white; 1 where one photosite is full."""
    codes, colours = raw.raw_image.astype(float), raw.raw_colors.copy()
    levels = numpy.array(raw.black_level_per_channel, float)
    light = (codes - levels[colours]) / (raw.white_level - levels[colours])
    colours[colours == 3] = 1
    out = numpy.zeros((size[0], size[1], 3))
    for row in range(size[0]):
        for column in range(size[1]):
            at = numpy.s_[first[0] + side * row : first[0] + side * (row + 1), first[1] + side * column : first[1] + side * (column + 1)]
            for colour in range(3):
                values = light[at][colours[at] == colour]
                out[row, column, colour] = 1.0 if (values >= 254 / 255).any() else values.mean()
    return out


def expectation(name, side, first, size, developed=False):
    with rawpy.imread(str(HERE / name)) as raw:
        gains = numpy.array(raw.camera_whitebalance[:3]) / raw.camera_whitebalance[1]
        found = {"file": name, "side": side, "first": first[::-1], "size": size[::-1], "gains": gains.tolist(),
                 "light": blocks(raw, side, first, size).reshape(-1, 3).round(7).tolist()}
    if developed:
        with rawpy.imread(str(HERE / name)) as raw:
            rgb = raw.postprocess(half_size=True, gamma=(1, 1), no_auto_bright=True, no_auto_scale=False, use_camera_wb=True, output_bps=16,
                                  output_color=rawpy.ColorSpace.sRGB, highlight_mode=rawpy.HighlightMode.Clip, user_flip=0)
        found["developed"] = (rgb / 65535.0).round(6).tolist()
    return found


def bayer_with_all(random):
    """Black by place, a border, a crop that begins at an odd photosite, a turn and EXIF.

    LibRaw takes a border of odd width for one wider by one, and begins the pattern of black there, so that it is even here.
    """
    shape, active, crop = (40, 52), [4, 6, 38, 50], [3, 5, 36, 28]
    codes = scene(random, shape, 500, 15000)
    tags = common(shape, 32803, 16, daylight()) | mosaic_tags(BAYER)
    tags |= {50829: (LONG, active), 50719: (LONG, crop[:2]), 50720: (LONG, crop[2:]), 50713: (SHORT, [2, 2]),
             50714: (LONG, [500, 504, 496, 512]), 50717: (LONG, [15000]), 274: (SHORT, [6])}
    write("bayer_turned.dng", [codes.astype("<u2").tobytes()], tags, EXIF)
    # `raw_image` of LibRaw is the whole sensor.
    return expectation("bayer_turned.dng", 2, [active[0] + crop[1], active[1] + crop[0]], [crop[3] // 2, crop[2] // 2])


def bayer_daylight(random):
    shape = (32, 48)
    codes = scene(random, shape, 256, 4095)
    tags = common(shape, 32803, 16, daylight()) | mosaic_tags(BAYER)
    write("bayer_daylight.dng", [codes.astype("<u2").tobytes()], tags | {50714: (LONG, [256]), 50717: (LONG, [4095])})
    return expectation("bayer_daylight.dng", 2, [0, 0], [16, 24], developed=True)


def tiled(random):
    """Tiles of lossless JPEG as film cameras write them: two neighbouring photosites count as components."""
    shape, tile = (40, 56), (16, 32)
    codes = scene(random, shape, 128, 4095)
    padded = numpy.pad(codes, [(0, -shape[0] % tile[0]), (0, -shape[1] % tile[1])], mode="edge")
    pieces = []
    for row in range(0, padded.shape[0], tile[0]):
        for column in range(0, padded.shape[1], tile[1]):
            piece = numpy.ascontiguousarray(padded[row : row + tile[0], column : column + tile[1]])
            pieces.append(bytes(imagecodecs.ljpeg_encode(piece, bitspersample=12)))
    tags = common(shape, 32803, 12, [0.5, 1.0, 0.7]) | mosaic_tags(BAYER[::-1])
    tags |= {259: (SHORT, [7]), 50714: (LONG, [128]), 50717: (LONG, [4095]), 50723: (SRATIONAL, OWN.ravel()),
             50724: (SRATIONAL, OWN.ravel()), 50727: (RATIONAL, [1.1, 1.0, 0.9])}
    write("tiled.dng", pieces, tags, tile=tile)
    return expectation("tiled.dng", 2, [0, 0], [20, 28])


def table(random):
    """Twelve bits packed, through a table to sixteen."""
    shape = (24, 32)
    stored = scene(random, shape, 100, 4095)
    curve = numpy.minimum((numpy.arange(4096) ** 2 / 300 + 200).round(), 56000).astype(int)
    flat = stored.ravel().astype(numpy.uint32)
    both = (flat[0::2] << 12) | flat[1::2]
    data = numpy.stack([both >> 16, (both >> 8) & 255, both & 255], axis=1).astype(numpy.uint8).tobytes()
    tags = common(shape, 32803, 12, [0.6, 1.0, 0.6]) | mosaic_tags(BAYER)
    write("table.dng", [data], tags | {50712: (SHORT, curve.tolist()), 50714: (LONG, [200]), 50717: (LONG, [int(curve[4095])])})
    return expectation("table.dng", 2, [0, 0], [12, 16])


def x_trans(random):
    shape = (36, 48)
    codes = scene(random, shape, 1000, 16000)
    tags = common(shape, 32803, 16, [0.55, 1.0, 0.65]) | mosaic_tags(X_TRANS)
    tags |= {50714: (LONG, [1000]), 50717: (LONG, [16000]), 50829: (LONG, [0, 0, 36, 48]), 50719: (LONG, [1, 2]), 50720: (LONG, [46, 33])}
    write("x_trans.dng", [codes.astype("<u2").tobytes()], tags)
    # Blocks begin where the colours' middles are one: at a multiple of three.
    return expectation("x_trans.dng", 3, [3, 3], [10, 14])


def by_pidng(random):
    """A file of which nothing was written here."""
    shape = (28, 40)
    codes = scene(random, shape, 64, 1023)
    write_mosaic(HERE / "pidng.dng", codes, CFAPattern.BGGR, 64, 1023, [[6, 10], [1, 1], [7, 10]])
    return expectation("pidng.dng", 2, [0, 0], [14, 20])


def without_mosaic(random):
    """Three samples a pixel. LibRaw makes its own of them, so what was written is what is expected."""
    shape = (12, 16)
    codes = numpy.stack([scene(random, shape, 0, 65535) // (1 + i) for i in range(3)], axis=2)
    write("linear.dng", [codes.astype("<u2").tobytes()], common(shape, 34892, 16, daylight(), samples=3) | {50717: (LONG, [65535] * 3)})
    return {"file": "linear.dng", "side": 1, "first": [0, 0], "size": [16, 12], "gains": (1 / daylight()).tolist(),
            "light": (codes / 65535).reshape(-1, 3).round(7).tolist()}


def matrices():
    """White and matrix of a camera's neutrals, by colour-hdri."""
    found = []
    other = numpy.identity(3)
    for neutral in ([0.5, 1.0, 0.7], [0.6, 1.0, 0.6], [0.75, 1.0, 0.45], daylight().tolist()):
        for own, gains in ((other, [1.0, 1.0, 1.0]), (OWN, [1.1, 1.0, 0.9])):
            arguments = (2850, 6500, WARM, COLD, other, own, gains)
            xy = colour_hdri.camera_neutral_to_xy(neutral, *arguments)
            matrix = colour_hdri.matrix_XYZ_to_camera_space(xy, *arguments)
            found.append({"neutral": list(neutral), "own": own.ravel().tolist(), "gains": gains, "xy": list(map(float, xy)),
                          "matrix": numpy.asarray(matrix).ravel().tolist()})
    return found


def main():
    random = numpy.random.default_rng(20261130)
    makers = [bayer_with_all, bayer_daylight, tiled, table, x_trans, by_pidng, without_mosaic]
    document = {"libraw": list(rawpy.libraw_version), "files": [maker(random) for maker in makers], "matrices": matrices()}
    (HERE / "expected.json").write_text(json.dumps(document) + "\n")


if __name__ == "__main__":
    main()
