"""A raw still of an invented camera, written whole by PiDNG."""

import numpy
from pidng.core import RAW2DNG
from pidng.defs import Orientation, PhotometricInterpretation, PreviewColorSpace
from pidng.dng import DNGTags, Tag

# CIE XYZ to the colours of a camera in daylight: near real ones, of none.
COLD = numpy.array([[0.80, -0.25, -0.08], [-0.42, 1.22, 0.22], [-0.07, 0.18, 0.58]])
# Rational numbers count in these.
PARTS = 10_000


def write_mosaic(path, codes, pattern, black, white, neutral):
    """Codes of 16 bits in a Bayer mosaic; what the camera shows of `neutral` light was its white."""
    tags = DNGTags()
    tags.set(Tag.ImageWidth, codes.shape[1])
    tags.set(Tag.ImageLength, codes.shape[0])
    tags.set(Tag.TileWidth, codes.shape[1])
    tags.set(Tag.TileLength, codes.shape[0])
    tags.set(Tag.Orientation, Orientation.Horizontal)
    tags.set(Tag.PhotometricInterpretation, PhotometricInterpretation.Color_Filter_Array)
    tags.set(Tag.SamplesPerPixel, 1)
    tags.set(Tag.BitsPerSample, 16)
    tags.set(Tag.CFARepeatPatternDim, [2, 2])
    tags.set(Tag.CFAPattern, pattern)
    tags.set(Tag.BlackLevel, black)
    tags.set(Tag.WhiteLevel, white)
    tags.set(Tag.ColorMatrix1, [[round(v * PARTS), PARTS] for v in COLD.ravel()])
    tags.set(Tag.CalibrationIlluminant1, 21)
    tags.set(Tag.AsShotNeutral, neutral)
    tags.set(Tag.DNGVersion, [1, 4, 0, 0])
    tags.set(Tag.DNGBackwardVersion, [1, 2, 0, 0])
    tags.set(Tag.Make, "Ferry Works")
    tags.set(Tag.Model, "Salt 2")
    tags.set(Tag.PreviewColorSpace, PreviewColorSpace.sRGB)
    writer = RAW2DNG()
    writer.options(tags, path=str(path.parent), compress=False)
    writer.convert(codes, filename=path.stem)
