"""Writes small DPX files and the codes that OpenImageIO reads back out of each.

What OpenImageIO writes is taken from it; forms that it only reads (12 bits with filling, 10-bit RGBA with filling) are
packed here, behind a header of its own. A file stays only where it reads back the codes that were put in. Needs numpy
and openimageio.
"""
import json
import pathlib

import numpy
import OpenImageIO as oiio

HERE = pathlib.Path(__file__).parent
WIDTH, HEIGHT = 9, 5  # OpenImageIO 3.2 misreads the last codes of RGBA and luma where they do not fill a word
CHANNELS = {1: "luma", 3: "rgb", 4: "rgba"}
PACKINGS = {8: ["Packed"], 10: ["Packed", "Filled, method A", "Filled, method B"], 12: ["Packed"], 16: ["Packed"]}
# Forms that are packed here: bits, channels, method.
FILLED_HERE = [(12, 1, 1), (12, 3, 1), (12, 4, 1), (12, 1, 2), (12, 3, 2), (12, 4, 2), (10, 4, 1), (10, 4, 2), (10, 1, 1), (10, 1, 2)]


def expand(codes, bits):
    """To full 16 bits, by repeating the upper bits."""
    codes = codes.astype(numpy.uint32)
    wide = codes * 257 if bits == 8 else (codes << (16 - bits)) | (codes >> (2 * bits - 16))
    return wide.astype(numpy.uint16)


def filled(codes, bits, method, order):
    """Method A moves codes to the upper end of their word, B to the lower."""
    lines = []
    for row in codes.reshape(codes.shape[0], -1):
        if bits == 12:
            lines.append((row << (4 if method == 1 else 0)).astype(order + "u2").tobytes())
            continue
        row = numpy.concatenate([row, numpy.zeros(-len(row) % 3, row.dtype)]).reshape(-1, 3)
        places = [0, 10, 20] if codes.shape[2] == 1 else [20, 10, 0]
        words = sum(row[:, i].astype(numpy.uint32) << places[i] for i in range(3)) << (2 if method == 1 else 0)
        lines.append(words.astype(order + "u4").tobytes())
    return b"".join(lines)


def patched(like, codes, bits, method, endian):
    """A file with the header of another of the same channels and bits."""
    order = "<" if endian == "little" else ">"
    head = bytearray(like[:8192])
    data = filled(codes, bits, method, order)
    head[804:806] = numpy.array(method, order + "u2").tobytes()
    head[16:20] = numpy.array(8192 + len(data), order + "u4").tobytes()
    return bytes(head) + data


def read_codes(path, bits, shape):
    back = numpy.asarray(oiio.ImageInput.open(str(path)).read_image(oiio.UINT16)).reshape(shape)
    return back >> (16 - bits)


def named(path):
    """The writer puts the whole path into the header; only the file's name belongs there."""
    content = bytearray(path.read_bytes())
    content[36:136] = path.name.encode().ljust(100, b"\0")
    path.write_bytes(content)


def main():
    random = numpy.random.default_rng(20261130)
    files = []
    for bits, packings in PACKINGS.items():
        for packing in packings:
            for endian in ["little", "big"]:
                for count, word in CHANNELS.items():
                    if bits == 10 and packing != "Packed" and count != 3:
                        continue
                    codes = random.integers(0, 1 << bits, (HEIGHT, WIDTH, count))
                    codes[0, 0], codes[-1, -1] = 0, (1 << bits) - 1
                    name = f"{word}_{bits}_{packing.split()[-1].lower()}_{endian}.dpx"
                    spec = oiio.ImageSpec(WIDTH, HEIGHT, count, oiio.UINT8 if bits == 8 else oiio.UINT16)
                    spec.attribute("oiio:BitsPerSample", bits)
                    spec.attribute("oiio:Endian", endian)
                    spec.attribute("dpx:Packing", packing)
                    spec.attribute("dpx:Transfer", "Linear")
                    spec.attribute("dpx:Colorimetric", "ITU-R 709-4")
                    out = oiio.ImageOutput.create(str(HERE / name))
                    samples = codes.astype(numpy.uint8) if bits == 8 else expand(codes, bits)
                    if not (out.open(str(HERE / name), spec) and out.write_image(samples) and out.close()):
                        print("not written:", name, out.geterror())
                        (HERE / name).unlink(missing_ok=True)
                        continue
                    named(HERE / name)
                    back = read_codes(HERE / name, bits, codes.shape)
                    if not (back == codes).all():
                        print("read back otherwise:", name, (back == codes).mean())
                        (HERE / name).unlink()
                        continue
                    files.append({"file": name, "bits": bits, "channels": count, "codes": codes.tolist()})
    for bits, count, method in FILLED_HERE:
        for endian in ["little", "big"]:
            word = CHANNELS[count]
            codes = random.integers(0, 1 << bits, (HEIGHT, WIDTH, count))
            name = f"{word}_{bits}_{'ab'[method - 1]}_{endian}.dpx"
            like = (HERE / f"{word}_{bits}_packed_{endian}.dpx").read_bytes()
            (HERE / name).write_bytes(patched(like, codes, bits, method, endian))
            back = read_codes(HERE / name, bits, codes.shape)
            if not (back == codes).all():
                print("read back otherwise:", name, (back == codes).mean())
                (HERE / name).unlink()
                continue
            files.append({"file": name, "bits": bits, "channels": count, "codes": codes.tolist()})
    document = {"openimageio": oiio.VERSION_STRING, "width": WIDTH, "height": HEIGHT, "files": files}
    (HERE / "expected.json").write_text(json.dumps(document) + "\n")
    print(len(files), "files")


if __name__ == "__main__":
    main()
