"""Writes small movies and what PyAV says of them.

Every frame shows its own number in Gray code: eight blocks, black or white. Movies named `codes_*` hold noise beside smooth colour;
their first frame's planes as PyAV decodes them are turned into red, green and blue here, in 64-bit floats, by the equations of ITU-T
H.273. Needs av and numpy.
"""
import fractions
import json
import pathlib
import struct

import av
import numpy

HERE = pathlib.Path(__file__).parent
COUNTER_SIZE = (96, 64)  # columns, rows
CODES_SIZE = (32, 16)
WEIGHTS = {"bt709": (0.2126, 0.0722), "bt601": (0.299, 0.114), "bt2020": (0.2627, 0.0593)}
SPACES = {"bt709": 1, "bt601": 6, "bt2020": 9}


def counter_picture(number, size=COUNTER_SIZE):
    """Eight blocks in two rows, the highest bit first; a corner tells which way is up."""
    gray = number ^ (number >> 1)
    width, height = size
    picture = numpy.full((height, width), 60, numpy.uint8)
    for bit in range(8):
        row, column = divmod(bit, 4)
        value = 220 if gray >> (7 - bit) & 1 else 20
        picture[8 + row * 26:8 + row * 26 + 20, 6 + column * 22:6 + column * 22 + 18] = value
    return picture


def frame_of(luma, format="yuv420p"):
    frame = av.VideoFrame(luma.shape[1], luma.shape[0], "yuv420p")
    for plane, fill in zip(frame.planes, [luma, None, None]):
        rows = numpy.frombuffer(plane, numpy.uint8).reshape(plane.height, plane.line_size).copy()
        rows[:, :plane.width] = 128 if fill is None else fill
        plane.update(rows.tobytes())
    return frame if format == "yuv420p" else frame.reformat(format=format)


def counters(name, times, rate=24, codec="libx264", format="yuv420p", options=None, setup=None, **container_options):
    """Frames 1, 2, … shown at `times` (in 1/600 s)."""
    with av.open(str(HERE / name), "w", options=container_options or None) as out:
        stream = out.add_stream(codec, rate=rate)
        stream.width, stream.height, stream.pix_fmt = *COUNTER_SIZE, format
        stream.time_base = fractions.Fraction(1, 600)
        stream.codec_context.time_base = fractions.Fraction(1, 600)
        stream.options = options or {}
        stream.codec_context.color_primaries, stream.codec_context.color_trc, stream.codec_context.colorspace = 1, 1, 1
        if setup:
            setup(out, stream)
        for number, time in enumerate(times, start=1):
            frame = frame_of(counter_picture(number), format)
            frame.pts, frame.time_base = time, fractions.Fraction(1, 600)
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode():
            out.mux(packet)


def moved(name, source, shift_s):
    """The same packets, shown earlier: those before zero are left to the edit list."""
    with av.open(str(HERE / source)) as into, av.open(str(HERE / name), "w", options={"avoid_negative_ts": "disabled", "use_editlist": "1"}) as out:
        stream = into.streams.video[0]
        copy = out.add_stream_from_template(stream)
        for packet in into.demux(stream):
            if packet.dts is None:
                continue
            ticks = round(shift_s / packet.time_base)
            packet.pts, packet.dts = packet.pts - ticks, packet.dts - ticks
            packet.stream = copy
            out.mux(packet)


def turned(name, source, matrix):
    """The same file with another matrix in its track header (ISO/IEC 14496-12, 8.3.2)."""
    data = bytearray((HERE / source).read_bytes())
    at = data.index(b"tkhd") + 4 + 4 + 20 + 8 + 8
    data[at:at + 36] = struct.pack(">9i", *matrix)
    (HERE / name).write_bytes(data)


def number_in(luma):
    gray = 0
    for bit in range(8):
        row, column = divmod(bit, 4)
        block = luma[8 + row * 26 + 5:8 + row * 26 + 15, 6 + column * 22 + 4:6 + column * 22 + 14]
        gray = gray << 1 | int(block.mean() > 120)
    number = 0
    while gray:
        number, gray = number ^ gray, gray >> 1
    return number


def counts(name):
    """The numbers in a movie's frames in the order shown, and when they are shown."""
    with av.open(str(HERE / name)) as into:
        shown = [(number_in(frame.reformat(format="gray").to_ndarray()), float(frame.time)) for frame in into.decode(video=0)]
    return {"file": name, "numbers": [n for n, _ in shown], "times_s": [round(t, 6) for _, t in shown]}


def upsampled(plane, size, across, down):
    """Linear between samples that lie `across` and `down` luma samples from the first luma sample."""
    height, width = plane.shape
    factor = (size[0] // width, size[1] // height)
    def axis(count, step, offset, length):
        position = numpy.clip((numpy.arange(count) - offset) / step, 0, length - 1)
        low = numpy.floor(position).astype(int)
        return low, numpy.minimum(low + 1, length - 1), position - low
    left, right, u = axis(size[0], factor[0], across, width)
    upper, lower, v = axis(size[1], factor[1], down, height)
    rows = plane[upper] * (1 - v)[:, None] + plane[lower] * v[:, None]
    return rows[:, left] * (1 - u) + rows[:, right] * u


def to_rgb(planes, bits, full, matrix, siting):
    step = 2 ** (bits - 8)
    top = 2 ** bits - 1
    luma, blue, red = [plane.astype(float) for plane in planes]
    size = (luma.shape[1], luma.shape[0])
    factor = (size[0] // blue.shape[1], size[1] // blue.shape[0])
    across = (factor[0] - 1) / 2 if siting == "center" else 0.0
    down = 0.0 if siting == "topleft" else (factor[1] - 1) / 2
    blue, red = upsampled(blue, size, across, down), upsampled(red, size, across, down)
    if full:
        y, cb, cr = luma / top, (blue - 128 * step) / top, (red - 128 * step) / top
    else:
        y, cb, cr = (luma - 16 * step) / (219 * step), (blue - 128 * step) / (224 * step), (red - 128 * step) / (224 * step)
    kr, kb = WEIGHTS[matrix]
    r, b = y + 2 * (1 - kr) * cr, y + 2 * (1 - kb) * cb
    return numpy.stack([r, (y - kr * r - kb * b) / (1 - kr - kb), b], axis=2)


def planes_of(frame, bits):
    kind = numpy.uint8 if bits == 8 else numpy.dtype("<u2")
    found = []
    for plane in list(frame.planes)[:3]:
        rows = numpy.frombuffer(plane, kind).reshape(plane.height, -1)
        found.append(rows[:, :plane.width].astype(int))
    return found


def codes(name, codec, format, bits, full, matrix, options=None, siting="left"):
    random = numpy.random.default_rng(20261130)
    width, height = CODES_SIZE
    with av.open(str(HERE / name), "w") as out:
        stream = out.add_stream(codec, rate=25)
        stream.width, stream.height, stream.pix_fmt = width, height, format
        stream.options = options or {}
        context = stream.codec_context
        context.color_range = 2 if full else 1
        context.colorspace, context.color_primaries = SPACES[matrix], {"bt709": 1, "bt601": 6, "bt2020": 9}[matrix]
        context.color_trc = {"bt709": 1, "bt601": 6, "bt2020": 14}[matrix]
        frame = av.VideoFrame(width, height, format)
        top = 2 ** bits - 1
        for plane in frame.planes:
            kind = numpy.uint8 if bits == 8 else numpy.dtype("<u2")
            rows = numpy.zeros((plane.height, plane.line_size // numpy.dtype(kind).itemsize), kind)
            x, y = numpy.meshgrid(numpy.arange(plane.width) / plane.width, numpy.arange(plane.height) / plane.height)
            wave = random.uniform(-2, 2, 4)
            smooth = 0.5 + 0.42 * numpy.sin(6 * (wave[0] * x + wave[1] * y) + wave[2])
            noise = random.uniform(-0.06, 0.06, smooth.shape)
            rows[:, :plane.width] = numpy.clip(numpy.round((smooth + noise) * top), 0, top)
            plane.update(rows.tobytes())
        frame.color_range, frame.colorspace = context.color_range, context.colorspace
        frame.pts = 0
        for packet in list(stream.encode(frame)) + list(stream.encode()):
            out.mux(packet)
    with av.open(str(HERE / name)) as into:
        frame = next(into.decode(video=0))
        format, bits = frame.format.name, frame.format.components[0].bits  # ProRes 4444 comes out with 12
        planes = planes_of(frame, bits)
    rgb = to_rgb(planes, bits, full, matrix, siting)
    return {"file": name, "format": format, "bits": bits, "range": "full" if full else "limited", "matrix": matrix,
            "signals": [[round(float(v), 6) for v in pixel] for pixel in rgb.reshape(-1, 3)]}


def fields(name):
    """Two fields of different moments: rows 0, 2, … of one number, rows 1, 3, … of the next but hundred."""
    with av.open(str(HERE / name), "w") as out:
        stream = out.add_stream("libx264", rate=25)
        stream.width, stream.height, stream.pix_fmt = *COUNTER_SIZE, "yuv420p"
        stream.options = {"x264-params": "tff=1:interlaced=1", "qp": "18"}
        for number in range(1, 7):
            luma = counter_picture(number)
            luma[1::2] = counter_picture(100 + number)[1::2]
            frame = frame_of(luma)
            frame.pts = number - 1
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode():
            out.mux(packet)


def main():
    even = [25 * i for i in range(60)]
    groups = {"g": "12", "bf": "3", "qp": "30", "x264-params": "keyint=12:bframes=3"}
    counters("counter_even.mp4", even, options=groups)
    counters("counter_even.mkv", even, options=groups)
    uneven = numpy.cumsum([0] + [25, 25, 50, 20, 30, 75] * 8).tolist()
    counters("counter_uneven.mp4", uneven, options=groups)
    counters("counter_even.mts", even, options=groups)
    moved("counter_edited.mp4", "counter_even.mp4", 17 / 24)
    one = 1 << 16
    turned("counter_turned.mp4", "counter_even.mp4", [0, one, 0, -one, 0, 0, 64 * one, 0, 1 << 30])
    fields("fields.mp4")

    def with_timecode(out, stream):
        stream.metadata["timecode"] = "01:12:03:10"
    counters("timecode.mov", [25 * i for i in range(12)], codec="prores_ks", format="yuv422p10le", options={"profile": "proxy", "qscale": "31"}, setup=with_timecode)

    found = [codes("codes_prores_422.mov", "prores_ks", "yuv422p10le", 10, False, "bt709", {"profile": "hq"}),
             codes("codes_prores_444_2020.mov", "prores_ks", "yuv444p10le", 10, False, "bt2020", {"profile": "4444"}),
             codes("codes_h264_limited.mp4", "libx264", "yuv420p", 8, False, "bt709", {"qp": "10"}),
             codes("codes_h264_full.mp4", "libx264", "yuvj420p", 8, True, "bt709", {"qp": "10"}),
             codes("codes_h264_601.mkv", "libx264", "yuv422p", 8, False, "bt601", {"qp": "10"}),
             codes("codes_h264_2020.mov", "libx264", "yuv420p10le", 10, False, "bt2020", {"qp": "10"}),
             codes("codes_h264_full_2020.mp4", "libx264", "yuv444p10le", 10, True, "bt2020", {"qp": "10"}),
             codes("codes_h264_centre.mp4", "libx264", "yuv420p", 8, False, "bt709", {"qp": "10", "x264-params": "chromaloc=1"}, "center"),
             codes("codes_ffv1_16.mkv", "ffv1", "yuv420p16le", 16, False, "bt709"),
             codes("codes_mpeg2.mxf", "mpeg2video", "yuv422p", 8, False, "bt709", {"qscale": "2", "flags": "+qscale"})]
    counted = [counts(name) for name in ["counter_even.mp4", "counter_even.mkv", "counter_uneven.mp4", "counter_even.mts", "counter_edited.mp4", "timecode.mov"]]
    document = {"av": av.__version__, "counters": counted, "codes": found}
    (HERE / "expected.json").write_text(json.dumps(document) + "\n")
    for file in sorted(HERE.iterdir()):
        print(file.name, file.stat().st_size)


if __name__ == "__main__":
    main()
