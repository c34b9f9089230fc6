"""How long inputs of modest size take that are made to be slow.

    hostile_times.py PROGRAM PLAIN_DECODE [WORD...]

Both programs are built alike: `cargo build` and `cargo build --bench plain_decode`. Frames of a sphere in front of a wall, of 960 x 540 and 4096 x 2160 px, are generated and checked. Then one thing that is expected to be
slow is added to the shot, and it is checked again. A row of a Markdown table is printed for each: the bytes of all its files, the
processor seconds of the whole process (its wall seconds on one core, whatever else the machine does), those of a plain decode of
the same pictures (by the `exr` and `image` crates or as a check opens them, whichever is quicker), and by how much the check is
above that. Each is the lower of RUNS runs. WORDs select the cases whose names contain one of them. Linux only; needs numpy.
"""

import json
import math
import os
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib

import numpy

from exr_header import attribute, exr_header

SMALL, LARGE = (960, 540), (4096, 2160)
RUNS = 2
RANDOM = numpy.random.default_rng(19)


def packed(rows):
    """Sixteen lines or fewer, channel by channel, as a ZIP block (OpenEXR file layout)."""
    plain = rows.astype("<f2").tobytes()
    raw = numpy.frombuffer(plain, numpy.uint8)
    split = numpy.concatenate([raw[0::2], raw[1::2]]).astype(numpy.int16)
    split[1:] = split[1:] - split[:-1] + 128
    block = zlib.compress((split & 255).astype(numpy.uint8).tobytes(), 1)
    return block if len(block) < len(plain) else plain


def exr(planes):
    """Half-float planes by name."""
    height, width = next(iter(planes.values())).shape
    stack = numpy.stack([planes[name] for name in sorted(planes)], axis=1)
    tops = range(0, height, 16)
    blocks = [packed(stack[top : top + 16]) for top in tops]
    return assemble(exr_header(planes, width, height, 3), [struct.pack("<i", top) for top in tops], blocks)


def assemble(header, places, blocks):
    at = len(header) + 8 * len(blocks)
    table, body = [], []
    for place, block in zip(places, blocks):
        table.append(struct.pack("<Q", at))
        body.append(place + struct.pack("<I", len(block)) + block)
        at += len(body[-1])
    return b"".join([header, *table, *body])


def exr_of_single_pixel_tiles(width, height):
    """Uncompressed, each pixel a tile of its own."""
    tiles = attribute("tiles", "tiledesc", struct.pack("<IIB", 1, 1, 0))
    header = exr_header("BGR", width, height, 0, [tiles])
    places = [struct.pack("<4i", x, y, 0, 0) for y in range(height) for x in range(width)]
    return assemble(header, places, [struct.pack("<3e", 0.1, 0.2, 0.3)] * len(places))


def exr_of_one_value(width, height, value):
    blocks = [packed(numpy.full((16, 3, width), value))] * (height // 16)
    places = [struct.pack("<i", 16 * index) for index in range(len(blocks))]
    return assemble(exr_header("BGR", width, height, 3), places, blocks)


def png(picture, interlaced=False):
    """16 bits a sample; interlaced in one pass of many narrow ones where asked for (PNG, section 8)."""

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    height, width = picture.shape[:2]
    samples = (numpy.clip(picture, 0, 1) * 65535).astype(">u2")
    passes = [(0, 0, 8, 8), (0, 4, 8, 8), (4, 0, 8, 4), (0, 2, 4, 4), (2, 0, 4, 2), (0, 1, 2, 2), (1, 0, 2, 1)]
    passes = passes if interlaced else [(0, 0, 1, 1)]
    rows = [row for top, left, down, right in passes for row in samples[top::down, left::right]]
    pixels = zlib.compress(b"".join(b"\0" + row.tobytes() for row in rows), 1)
    head = struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, int(interlaced))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def scene(size, gain=1.0, alpha=False):
    """A mirror sphere with three lamps before a wall, as an orthographic camera sees it."""
    width, height = size
    x, y = numpy.meshgrid(numpy.arange(width) + 0.5, numpy.arange(height) + 0.5)
    radius = 0.28 * height
    u, v = (x - 0.5 * width) / radius, (0.5 * height - y) / radius
    inside = u * u + v * v < 1
    z = numpy.sqrt(numpy.clip(1 - u * u - v * v, 0, 1))
    r = numpy.stack([2 * z * u, 2 * z * v, 2 * z * z - 1], axis=-1)
    seen = 0.25 + 0.1 * r[..., 1:2] + 0.04 * numpy.sin(9 * r[..., 0:1]) * numpy.sin(7 * r[..., 1:2]) + numpy.zeros(3)
    for way, power in [((-0.6, 0.5, 0.6), 30.0), ((0.8, 0.1, 0.5), 6.0), ((0.1, 0.9, -0.3), 4.0)]:
        way = numpy.array(way) / math.sqrt(sum(part * part for part in way))
        seen = seen + power * (r @ way > math.cos(0.06))[..., None] * numpy.array([1.0, 0.9, 0.8])
    wall = 0.08 + 0.03 * numpy.sin(x / 37.0) * numpy.sin(y / 53.0)
    picture = numpy.where(inside[..., None], 0.6 * seen, numpy.zeros_like(seen) if alpha else wall[..., None])
    planes = {name: (gain * picture[..., place]).astype(numpy.float16) for place, name in enumerate("RGB")}
    if alpha:
        planes["A"] = inside.astype(numpy.float16)
    return planes, [width / 2, height / 2, radius]


def dots(planes, outline, count, size=2):
    """The same with small lamps all over the sphere."""
    planes = {name: plane.copy() for name, plane in planes.items()}
    angle, far = RANDOM.uniform(0, 2 * math.pi, count), 0.95 * outline[2] * numpy.sqrt(RANDOM.uniform(0, 1, count))
    xs, ys = (outline[0] + far * numpy.cos(angle)).astype(int), (outline[1] + far * numpy.sin(angle)).astype(int)
    for x, y in zip(xs, ys):
        for name in "RGB":
            planes[name][y : y + size, x : x + size] = 40.0
    return planes


def discs(size, count):
    width, height = size
    picture = numpy.full((height, width), 0.1)
    y, x = numpy.ogrid[:height, :width]
    for _ in range(count):
        cx, cy, r = RANDOM.uniform(0, width), RANDOM.uniform(0, height), RANDOM.uniform(0.01, 0.1) * height
        top, left = max(int(cy - r), 0), max(int(cx - r), 0)
        part = (slice(top, int(cy + r) + 2), slice(left, int(cx + r) + 2))
        inside = (x[:, part[1]] - cx) ** 2 + (y[part[0]] - cy) ** 2 < r * r
        picture[part] = numpy.where(inside, RANDOM.uniform(0.02, 2), picture[part])
    return {name: picture for name in "RGB"}


def noise(size, names="RGB"):
    return {name: RANDOM.lognormal(-1.5, 1.0, (size[1], size[0])) for name in names}


def checks(size, cell):
    y, x = numpy.ogrid[: size[1], : size[0]]
    board = (((x // cell) + (y // cell)) % 2) * 1.0 + 0.05
    return {name: board for name in "RGB"}


def cube(side):
    """A Common LUT Format file with one cube that leaves everything as it is."""
    steps = numpy.linspace(0, 1, side)
    lines = []
    for r in steps:
        for g in steps:
            lines.append("\n".join(f"{r:.6f} {g:.6f} {b:.6f}" for b in steps))
    text = "\n".join(lines)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<ProcessList xmlns="urn:AMPAS:CLF:v3.0" id="cube" '
        'compCLFversion="3.0">\n<LUT3D inBitDepth="32f" outBitDepth="32f" interpolation="tetrahedral">\n'
        f'<Array dim="{side} {side} {side} 3">\n{text}\n</Array>\n</LUT3D>\n</ProcessList>\n'
    ).encode()


def jpeg_with_exif(seed):
    """As many EXIF blocks as a JPEG may have fields, each of 5400 entries that lead into one another."""
    entries = 5400
    table = struct.pack("<H", entries) + b"".join(struct.pack("<HHII", 0x8769, 4, 1, 8) for _ in range(entries))
    block = b"Exif\0\0II*\0\x08\0\0\0" + table
    segment = b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block
    plain = open(seed, "rb").read()
    return plain[:2] + segment * 200 + plain[2:]


def polygons(size, count=900, corners=300):
    """Sides that cross one another all over the frame."""
    points = numpy.round(RANDOM.uniform(0, 1, (count, corners, 2)) * size).astype(int).tolist()
    return [{"polygon_px": polygon} for polygon in points]


class Shot:
    """A folder with one shot; `put` gives it another file."""

    def __init__(self, root, size):
        self.folder = os.path.join(root, "shot")
        shutil.rmtree(self.folder, ignore_errors=True)
        os.makedirs(self.folder)
        (plate, self.outline), (cg, _) = scene(size), scene(size, 1.1, alpha=True)
        self.size, self.planes, self.cg = size, plate, cg
        self.sheet = {
            "format": "plateproof-shot/1",
            "shot": "SF_0970",
            "plate": self.put("plate.exr", exr(plate)),
            "mirrors": [{"name": "m1", "bracket": [self.put("mirror.exr", exr(plate))], "outline_px": self.outline}],
            "cg": {"spheres": [{"mirror": "m1", "frame": self.put("cg.exr", exr(cg)), "alpha": "premultiplied"}]},
            "camera": {"focal_length_mm": 32, "sensor_mm": [24, 24 * size[1] / size[0]]},
        }

    def put(self, name, data):
        with open(os.path.join(self.folder, name), "wb") as file:
            file.write(data)
        return name

    @property
    def mirror(self):
        return self.sheet["mirrors"][0]

    def write(self):
        json.dump(self.sheet, open(os.path.join(self.folder, "shot.json"), "w"))

    def find_it(self):
        self.mirror.pop("outline_px", None)

    def mirror_is(self, planes, search=False):
        self.mirror["bracket"] = [self.put("mirror.exr", exr(planes))]
        self.sheet["plate"] = self.put("plate.exr", exr(planes))
        if search:
            self.find_it()


def bracket(shot, count):
    shot.mirror["bracket"] = []
    for index in range(count):
        stops = 0.25 * (index - count // 2)
        planes = {name: numpy.minimum(plane * 2.0**stops, 60000) for name, plane in shot.planes.items()}
        frame = shot.put(f"{index}.exr", exr(planes))
        shot.mirror["bracket"].append({"frame": frame, "exposure_stops": stops})


def many_mirrors(shot, count):
    mirror, sphere = shot.mirror, shot.sheet["cg"]["spheres"][0]
    shot.sheet["mirrors"] = [{**mirror, "name": f"m{index}"} for index in range(count)]
    shot.sheet["cg"]["spheres"] = [{**sphere, "mirror": f"m{index}"} for index in range(count)]


def full_chain(shot, sheets):
    keys = ",".join(f'"{index:x}":0' for index in range(400_000))
    for index in range(sheets - 1):
        parent = f'"extends":"{index + 1}.json",' if index < sheets - 2 else ""
        text = f'{{"format":"plateproof-shot/1",{parent}"notes":{{{keys}}}}}'
        shot.put(f"{index}.json", text.encode())
    shot.sheet["extends"] = "0.json"


def alpha_islands(shot):
    cg = dict(shot.cg)
    cg["A"] = (RANDOM.uniform(0, 1, shot.cg["A"].shape) > 0.5) * 1.0
    shot.sheet["cg"]["spheres"][0]["frame"] = shot.put("cg.exr", exr(cg))


def set_key(key, data, name=None):
    def change(shot):
        shot.sheet[key] = shot.put(name or f"{key}.exr", data() if callable(data) else data)

    return change


def plate_and_take(shot):
    shot.sheet["plate"] = shot.put("plate.exr", exr(noise(shot.size)))
    for number in range(40):
        shot.put(f"clean.{number + 1:04}.exr", exr(noise(SMALL)))
    shot.sheet["clean_plate"] = {"frame": "clean.####.exr", "frame_range": [1, 40]}


def exif(shot):
    seed = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "fuzz", "corpus", "picture", "plain.jpg")
    shot.mirror["bracket"] = [shot.put("camera.jpg", jpeg_with_exif(seed))]
    shot.find_it()


def single_pixel_tiles(shot):
    shot.mirror["bracket"] = [shot.put("tiles.exr", exr_of_single_pixel_tiles(*shot.size))]


def interlaced(shot):
    picture = numpy.stack([noise(shot.size, "R")["R"]] * 3, axis=-1)
    shot.mirror["bracket"] = [shot.put("mirror.png", png(picture, interlaced=True))]


def with_cube(shot, side):
    shot.put("cube.clf", cube(side))
    shot.mirror["encoding"] = "cube.clf"


def outlines(shot):
    shot.mirror["ignore"] = polygons(shot.size)


def slivers(shot):
    """Every side goes from top to bottom, and next to nothing lies between them."""
    width, height = shot.size
    saw = lambda x: [[x + corner % 2, height * (corner % 2)] for corner in range(300)]
    shot.mirror["ignore"] = [{"polygon_px": saw(x)} for x in RANDOM.integers(0, width, 900).tolist()]


CASES = [
    ("as it is", None, (SMALL, LARGE)),
    ("as it is, sphere searched for", lambda s: s.find_it(), (SMALL, LARGE)),
    ("900 ignored polygons of 300 corners", outlines, (SMALL, LARGE)),
    ("900 ignored slivers of 300 sides as tall as the frame", slivers, (SMALL, LARGE)),
    ("noise in plate and mirror, sphere searched for", lambda s: s.mirror_is(noise(s.size), True), (SMALL, LARGE)),
    ("noise in plate and mirror, outline given", lambda s: s.mirror_is(noise(s.size)), (SMALL, LARGE)),
    ("chequerboard of 8 px, sphere searched for", lambda s: s.mirror_is(checks(s.size, 8), True), (SMALL, LARGE)),
    ("1000 discs, sphere searched for", lambda s: s.mirror_is(discs(s.size, 1000), True), (SMALL, LARGE)),
    ("4000 small lamps on the sphere", lambda s: s.mirror_is(dots(s.planes, s.outline, 4000)), (SMALL, LARGE)),
    ("CG alpha of single pixels", alpha_islands, (SMALL, LARGE)),
    ("32 exposures", lambda s: bracket(s, 32), (SMALL, LARGE)),
    ("32 mirrors and 32 CG spheres", lambda s: many_mirrors(s, 32), (SMALL,)),
    ("cube of side 65", lambda s: with_cube(s, 65), (SMALL,)),
    ("cube of side 129", lambda s: with_cube(s, 129), (SMALL, LARGE)),
    ("200 EXIF blocks of 5400 entries", exif, (SMALL,)),
    ("EXR in tiles of one pixel", single_pixel_tiles, (SMALL,)),
    ("interlaced PNG of noise", interlaced, (SMALL, LARGE)),
    ("straight lines: noise", set_key("straight_lines", lambda: exr(noise(LARGE))), (SMALL,)),
    ("straight lines: chequerboard of 16 px", set_key("straight_lines", lambda: exr(checks(LARGE, 16))), (SMALL,)),
    ("clean plate: noise", set_key("clean_plate", lambda: exr(noise(LARGE))), (LARGE,)),
    ("clean take of 40 frames, noise", plate_and_take, (SMALL,)),
    ("sheets of 4 MB, two above the shot's", lambda s: full_chain(s, 3), (SMALL,)),
    ("sheets of 4 MB, 16 in a chain", lambda s: full_chain(s, 16), (SMALL,)),
    ("environment 4096 x 2048, noise", set_key("environment", lambda: exr(noise((4096, 2048)))), (SMALL,)),
    ("environment 8192 x 4096, noise", set_key("environment", lambda: exr(noise((8192, 4096)))), (SMALL,)),
    ("environment 8192 x 4096, grey", set_key("environment", lambda: exr_of_one_value(8192, 4096, 0.5)), (SMALL,)),
    ("environment 16384 x 8192, grey", set_key("environment", lambda: exr_of_one_value(16384, 8192, 0.5)), (SMALL,)),
    ("environment 16384 x 8192, black", set_key("environment", lambda: exr_of_one_value(16384, 8192, 0.0)), (SMALL,)),
]


def processor_s(words, log):
    """Processor seconds of a program and its exit status."""
    with open(log, "w") as out:
        process = subprocess.Popen(words, stdout=out, stderr=subprocess.STDOUT)
        _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return usage.ru_utime + usage.ru_stime, process.returncode


def lowest(words, log):
    return min(processor_s(words, log) for _ in range(RUNS))


def plain_decode_s(decoder, folder):
    files = sorted(os.path.join(folder, name) for name in os.listdir(folder))
    pictures = [file for file in files if not file.endswith((".json", ".clf"))]
    return min(lowest([decoder, way, *pictures], folder + ".decode.log")[0] for way in ("crates", "own"))


def check(program, shot):
    words = [program, "check", shot.folder, "--no-picture", "--again", "--jobs", "1", "--out", shot.folder + ".reports"]
    return lowest(words, shot.folder + ".log")


def main():
    program, decoder, words = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2]), sys.argv[3:] or [""]
    print("| what | frames | files, MB | status | processor s | plain decode, s | above it, s |")
    print("|---|---|---|---|---|---|---|")
    for title, change, sizes in CASES:
        if not any(word in title for word in words):
            continue
        for size in sizes:
            with tempfile.TemporaryDirectory() as root:
                shot = Shot(root, size)
                if change:
                    change(shot)
                shot.write()
                total = sum(os.path.getsize(os.path.join(shot.folder, name)) for name in os.listdir(shot.folder)) / 1e6
                processor, status = check(program, shot)
                decoding = plain_decode_s(decoder, shot.folder)
                row = [title, f"{size[0]} x {size[1]}", f"{total:.1f}", str(status), f"{processor:.2f}"]
                row += [f"{decoding:.2f}", f"{processor - decoding:.2f}"]
                print("| " + " | ".join(row) + " |", flush=True)
                if os.environ.get("SAY"):
                    print(open(shot.folder + ".log").read(), file=sys.stderr)


if __name__ == "__main__":
    main()
