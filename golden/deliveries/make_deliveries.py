"""The right CG of `golden/path_traced/sf_010_all_match` at half size.

    pip install numpy OpenEXR
    python make_deliveries.py
"""

import os

import numpy as np
import OpenEXR

HERE = os.path.dirname(os.path.abspath(__file__))
SOURCE = os.path.join(HERE, "../path_traced/sf_010_all_match/cg.exr")


def main():
    with OpenEXR.File(SOURCE) as f:
        name = next(n for n in ("RGBA", "RGB") if n in f.channels())
        picture = f.channels()[name].pixels.astype(np.float32)
    height, width = (side // 2 * 2 for side in picture.shape[:2])
    whole = picture[:height, :width]
    half = (whole[::2, ::2] + whole[1::2, ::2] + whole[::2, 1::2] + whole[1::2, 1::2]) / 4
    with OpenEXR.File({"compression": OpenEXR.ZIP_COMPRESSION}, {name: half.astype(np.float16)}) as f:
        f.write(os.path.join(HERE, "cg_half_size.exr"))


if __name__ == "__main__":
    main()
