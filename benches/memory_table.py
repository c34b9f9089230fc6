"""Memory that hostile and large inputs ask for, and what a check of them really takes.

    memory_table.py PROGRAM SHOT_FOLDER

SHOT_FOLDER holds one small shot, for example golden/path_traced/sf_010_all_match. Twelve inputs take the place of one of
its pictures in turn, and each is checked under three limits on the address space. A row of a Markdown table is printed for
each: what the program says that the shot asks for where it refuses it, and under every limit what came of it with the peak of
the resident memory. `died` must never stand there. Linux only; standard library only.
"""

import json
import os
import re
import resource
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib

from exr_header import exr_header

LIMITS = [("1 GiB", 1 << 30), ("1.5 GiB", 3 << 29), ("4 GiB", 4 << 30)]


def exr(width, height, value=0.0):
    """Half-float RGB in ZIP blocks of 16 lines, every sample `value`; of a single line the block is damaged."""
    header = exr_header("BGR", width, height, 3)

    def block(lines):
        if height == 1:
            return b"damaged"
        samples = struct.pack("<e", value) * (width * lines * 3)
        halves = samples[0::2] + samples[1::2]
        # The predictor of OpenEXR's ZIP: differences of neighbours, offset by 128.
        first, second = halves[0], halves[len(halves) // 2]
        flat = bytearray(b"\x80") * len(halves)
        flat[0] = first
        flat[len(halves) // 2] = (second - first + 128) & 255
        return zlib.compress(bytes(flat), 9)

    count = -(-height // 16)
    whole, last = block(min(16, height)), block(height - (count - 1) * 16)
    at = len(header) + 8 * count
    table, body = [], []
    for index in range(count):
        packed = last if index + 1 == count else whole
        table.append(struct.pack("<Q", at))
        body.append(struct.pack("<iI", index * 16, len(packed)) + packed)
        at += 8 + len(packed)
    return header + b"".join(table) + b"".join(body)


def png(width, height):
    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    pack, line = zlib.compressobj(9), bytes(3 * width + 1)
    pixels = b"".join(pack.compress(line) for _ in range(height)) + pack.flush()
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")


def jpeg(seed, side):
    bytes_ = bytearray(open(seed, "rb").read())
    at = bytes_.index(b"\xff\xc0")
    bytes_[at + 5 : at + 9] = struct.pack(">HH", side, side)
    return bytes(bytes_)


def inputs(fuzz):
    """Name, role, file name, bytes, and whether it is stretched to 4 GiB."""
    zeros, grey = exr(16384, 8192), exr(16384, 8192, 0.5)
    return [
        ("EXR, 334 bytes, 10^8 x 1", "mirror", "wide.exr", exr(100_000_000, 1), False),
        ("EXR, 4096 x 2160, black", "plate", "black.exr", exr(4096, 2160), False),
        ("EXR, 8192 x 8192, zeros", "mirror", "zeros8.exr", exr(8192, 8192), False),
        ("EXR, 16384 x 16384, zeros", "mirror", "zeros16.exr", exr(16384, 16384), False),
        ("EXR, 16384 x 16384, as the CG", "cg", "zeros16.exr", exr(16384, 16384), False),
        ("environment, 16384 x 8192, black", "environment", "black16.exr", zeros, False),
        ("environment, 16384 x 8192, grey", "environment", "grey16.exr", grey, False),
        ("ten exposures of 8192 x 8192", "bracket", "zeros8.exr", exr(8192, 8192), False),
        ("PNG, 12000 x 12000", "mirror", "large.png", png(12000, 12000), False),
        ("JPEG, 81 megapixels, cut off", "mirror", "large.jpg", jpeg(os.path.join(fuzz, "plain.jpg"), 9000), False),
        ("PNG, 4 GiB with good first bytes", "mirror", "long.png", png(640, 360), True),
        ("EXR, 4 GiB with good first bytes", "mirror", "long.exr", exr(640, 360), True),
    ]


def lay_out(source, root, role, name, data, stretched):
    folder = os.path.join(root, "shot")
    shutil.copytree(source, folder, ignore=shutil.ignore_patterns("truth.json"))
    sheet = json.load(open(os.path.join(folder, "shot.json")))
    names = [f"{index}.{name}" for index in range(10)] if role == "bracket" else [name]
    for each in names:
        path = os.path.join(folder, each)
        open(path, "wb").write(data)
        if stretched:
            os.truncate(path, (4 << 30) - 1)
    if role in ("mirror", "bracket"):
        sheet["mirrors"][0]["bracket"] = names
    elif role == "cg":
        sheet["cg"]["spheres"][0]["frame"] = name
    else:
        sheet[role] = name
    json.dump(sheet, open(os.path.join(folder, "shot.json"), "w"))


def check(program, root, limit):
    confine = lambda: resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    words = [program, "check", "shot", "--no-picture", "--again", "--out", f"r{limit}"]
    log = open(os.path.join(root, "log.txt"), "w+")
    process = subprocess.Popen(words, cwd=root, stdout=log, stderr=subprocess.STDOUT, preexec_fn=confine)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    log.seek(0)
    return process.returncode, usage.ru_maxrss // 1024, log.read()


def main():
    program, source = os.path.abspath(sys.argv[1]), sys.argv[2]
    fuzz = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "fuzz", "corpus", "picture")
    print("| input | requested, MiB | " + " | ".join(name for name, _ in LIMITS) + " |")
    print("|---|---|" + "---|" * len(LIMITS))
    for title, role, name, data, stretched in inputs(fuzz):
        with tempfile.TemporaryDirectory() as root:
            lay_out(source, root, role, name, data, stretched)
            asked, cells = "-", []
            for _, limit in LIMITS:
                status, used, said = check(program, root, limit)
                need = re.search(r"takes\s+about\s+(\d+)\s+MiB", said)
                asked = need.group(1) if need else asked
                kept_out = re.search(r"of\s+memory|the\s+limits\s+are|uncompressed", said)
                came = "died" if status < 0 or status > 4 else "checked" if status != 2 else "refused"
                came = "read, no sphere found" if came == "refused" and not kept_out else came
                cells.append(f"{came}, {used} MiB")
            print(f"| {title} | {asked} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
