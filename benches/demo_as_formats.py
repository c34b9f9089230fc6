"""The demo show with everything photographed delivered in another format: the same verdicts are expected, and numbers that differ by
no more than the format's code steps and compression cost.

    python benches/demo_as_formats.py PLATEPROOF FOLDER [prores] [dnxhr] [h265] [dpx] [dng]

Plates, sphere frames, grey spheres, clean plates and line charts are written with LogC4 codes (ARRI, LogC4 Logarithmic Color Space
Specification, 2022) in full range: as 10-bit DPX by FFmpeg, and as the second frame of three of a movie with the matrix of BT.709:
ProRes 4444 and DNxHR 444 of 10 bits, H.265 of 10 bits with halved colour differences. CG and environments stay OpenEXR, as renders
are. As raw stills they are written by PiDNG: an invented camera in daylight, 16 linear bits of a Bayer mosaic with two photosites a pixel
each way, full at a light of 300, dithered; the program has to be built with the feature `raw`. Needs av, numpy, OpenEXR, PiDNG and FFmpeg.
"""

import fractions
import json
import pathlib
import shutil
import subprocess
import sys

import av
import numpy
import OpenEXR

PHOTOGRAPHED = ["plate", "clean_plate", "straight_lines", "mirrors", "grey_spheres"]


def logc4(light):
    a, b, c = (2**18 - 16) / 117.45, (1023 - 95) / 1023, 95 / 1023
    slope = 7 * numpy.log(2) * 2 ** (7 - 14 * c / b) / (a * b)
    start = (2 ** (14 * (-c / b) + 6) - 64) / a
    log = (numpy.log2(numpy.maximum(a * light + 64, 1e-9)) - 6) / 14 * b + c
    return numpy.where(light >= start, log, (light - start) / slope)


def pixels_of(path):
    channels = OpenEXR.File(str(path)).channels()
    return (channels["RGB"].pixels if "RGB" in channels else channels["RGBA"].pixels[..., :3]).astype(float)


def write_movie(codec, layout, options):
    """Three frames, of which the second is the picture; colour differences are averaged where the layout halves them."""

    def write(path, light):
        signal = logc4(light)
        luma = signal @ [0.2126, 0.7152, 0.0722]
        differences = [(signal[..., 2] - luma) / 1.8556, (signal[..., 0] - luma) / 1.5748]
        if "420" in layout:
            # H.264 and H.265 place them, unless told otherwise, between two rows and on the left of two columns.
            even = [(d[0::2] + d[1::2]) / 2 for d in differences]
            before = [numpy.concatenate([d[:, :1], d[:, 1:-1:2]], axis=1) for d in even]
            differences = [d[:, 0::2] / 2 + (b + d[:, 1::2]) / 4 for d, b in zip(even, before)]
        codes = [1023 * luma] + [512 + 1023 * difference for difference in differences]
        height, width = luma.shape
        with av.open(str(path), "w") as out:
            stream = out.add_stream(codec, rate=24)
            stream.width, stream.height, stream.pix_fmt = width, height, layout
            stream.options = options
            stream.codec_context.colorspace = 1
            for number, gain in enumerate([0.5, 1.0, 0.5]):
                frame = av.VideoFrame(width, height, layout)
                for plane, code in zip(frame.planes, codes):
                    rows = numpy.zeros((plane.height, plane.line_size // 2), "<u2")
                    rows[:, : plane.width] = numpy.clip(numpy.round(code * gain), 0, 1023)
                    plane.update(rows.tobytes())
                frame.pts, frame.time_base = number, fractions.Fraction(1, 24)
                out.mux(stream.encode(frame))
            out.mux(stream.encode())

    return write


# BT.709 to XYZ (ITU-R BT.709-6, item 1.3, and its white).
XYZ_OF_709 = numpy.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])
FULL_LIGHT, BLACK_CODE, WHITE_CODE = 300, 512, 65535


def write_dng(path, light):
    sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "golden" / "raw"))
    from pidng.defs import CFAPattern
    from pidng_file import COLD, PARTS, write_mosaic

    to_camera = COLD @ XYZ_OF_709
    white = to_camera @ [1, 1, 1]
    to_camera /= white[1]
    seen = numpy.repeat(numpy.repeat(light @ to_camera.T, 2, axis=0), 2, axis=1)
    mosaic = seen[..., 1].copy()
    mosaic[0::2, 0::2], mosaic[1::2, 1::2] = seen[0::2, 0::2, 0], seen[1::2, 1::2, 2]
    dither = numpy.random.default_rng(mosaic.shape[0]).uniform(0, 1, mosaic.shape)
    codes = numpy.floor(BLACK_CODE + (WHITE_CODE - BLACK_CODE) * mosaic / FULL_LIGHT + dither)
    codes = numpy.clip(codes, 0, WHITE_CODE).astype(numpy.uint16)
    neutral = [[round(v / white[1] * PARTS), PARTS] for v in white]
    write_mosaic(path, codes, CFAPattern.RGGB, BLACK_CODE, WHITE_CODE, neutral)


def as_the_camera_counts(show):
    """What was rendered, and the environments, where 1.0 is what fills the sensor; but for the shot with a camera JPEG."""
    for path in show.rglob("*.exr"):
        if path.with_suffix(".dng").exists() or any(path.parent.glob("*.jpg")):
            continue
        with OpenEXR.File(str(path)) as picture:
            parts = []
            for part in picture.parts:
                channels = {}
                for name, channel in part.channels.items():
                    values = channel.pixels.astype("f4")
                    if name.endswith("RGBA"):
                        values = values / [FULL_LIGHT, FULL_LIGHT, FULL_LIGHT, 1]
                    elif name != "A" and not name.endswith(".A"):
                        values = values / FULL_LIGHT
                    channels[name] = OpenEXR.Channel(numpy.ascontiguousarray(values, "f4"))
                parts.append(OpenEXR.Part({k: v for k, v in part.header.items() if k != "channels"}, channels, part.name()))
            written = OpenEXR.File(parts)
        written.write(str(path))


def write_dpx(path, light):
    signal = logc4(light)
    height, width, _ = signal.shape
    codes = numpy.round(1023 * numpy.clip(signal, 0, 1)).astype("<u2")
    planes = b"".join(codes[..., channel].tobytes() for channel in (1, 2, 0))
    ffmpeg = ["ffmpeg", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "gbrp10le", "-s", f"{width}x{height}", "-i", "-"]
    subprocess.run([*ffmpeg, "-frames:v", "1", "-pix_fmt", "gbrp10be", f"file:{path}"], input=planes, check=True)


LOG = {"encoding": "logc4"}
MOVIE = {**LOG, "frame_number": 2, "matrix": "bt709", "code_range": "full"}
FORMATS = {
    "prores": (".mov", write_movie("prores_ks", "yuv444p10le", {"profile": "4444xq", "qscale": "1"}), MOVIE),
    "dnxhr": (".mxf", write_movie("dnxhd", "yuv444p10le", {"profile": "dnxhr_444"}), MOVIE),
    "h265": (".mp4", write_movie("libx265", "yuv420p10le", {"crf": "8", "x265-params": "log-level=none"}), MOVIE),
    "dpx": (".dpx", write_dpx, LOG),
    "dng": (".dng", write_dng, {"exposure_stops": 0}),
}


def delivered(node, folder, kind):
    """The same part of a sheet with every OpenEXR picture in it written anew."""
    suffix, write, keys = FORMATS[kind]
    if isinstance(node, list):
        return [delivered({"frame": n} if isinstance(n, str) and n.endswith(".exr") else n, folder, kind) for n in node]
    if not isinstance(node, dict):
        return node
    node = {key: delivered(value, folder, kind) for key, value in node.items()}
    name = node.get("frame", "")
    if isinstance(name, str) and name.endswith(".exr") and "#" not in name:
        path = folder / name
        target = path.with_name(path.name.replace(".exr", suffix))
        if not target.exists():
            write(target, pixels_of(path))
        node |= {"frame": name.replace(".exr", suffix), **keys}
    return node


def reports_of(program, show, out):
    subprocess.run([program, "check", str(show), "--out", str(out), "--no-picture", "--again"], capture_output=True)
    found = [json.loads(path.read_text()) for path in sorted(out.glob("*.report.json"))]
    return {report["shot"]: report for report in found}


def apart(one, other):
    """The largest difference of two reports' numbers in tolerances, and of which check."""
    worst = (0.0, "")
    for a in one["findings"]:
        for b in other["findings"]:
            same = all(a.get(key) == b.get(key) for key in ["check", "mirror", "concerns"])
            if same and a.get("value") is not None and b.get("value") is not None and a["tolerance"]:
                worst = max(worst, (abs(a["value"] - b["value"]) / a["tolerance"], a["check"]))
    return worst


def main():
    program, out = sys.argv[1], pathlib.Path(sys.argv[2]).absolute()
    show = out / "exr"
    if not show.exists():
        subprocess.run([program, "demo", "--out", str(show), "--no-picture"], stdout=subprocess.DEVNULL)
        shutil.rmtree(show / "reports")
    before = reports_of(program, show, out / "exr_reports")
    for kind in sys.argv[3:] or FORMATS:
        shutil.rmtree(out / kind, ignore_errors=True)
        shutil.copytree(show, out / kind)
        for path in sorted((out / kind).rglob("shot.json")):
            sheet = json.loads(path.read_text())
            sheet |= {key: delivered(sheet[key], path.parent, kind) for key in PHOTOGRAPHED if key in sheet}
            path.write_text(json.dumps(sheet))
        if kind == "dng":
            as_the_camera_counts(out / kind)
        after = reports_of(program, out / kind, out / f"{kind}_reports")
        for shot, report in before.items():
            other = after.get(shot, {"verdict": "no report", "findings": []})
            worst, check = apart(report, other)
            mark = " " if report["verdict"] == other["verdict"] else "!"
            print(f"{mark} {kind:6} {shot}: {report['verdict']} / {other['verdict']}, {worst:.2f} tolerances ({check}) {(other.get('error') or {}).get('cause', '')}")


if __name__ == "__main__":
    main()
