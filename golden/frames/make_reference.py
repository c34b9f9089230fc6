"""Registration and lens distortion by OpenCV and scikit-image on pictures given by a formula.

Writes reference.json beside this file: the formulas' numbers, the truth, and what the two libraries found. The tests
evaluate the same formulas and hold both against the truth. Run: python make_reference.py
"""

import json
from pathlib import Path

import cv2
import numpy as np
import skimage
from skimage.registration import phase_cross_correlation

W, H = 512, 384
GRID_W, GRID_H = 960, 720


def texture(seed, shortest=10.0, longest=80.0, contrast=0.12, waves=16):
    rng = np.random.default_rng(seed)
    amplitude = contrast * (2.0 / waves) ** 0.5
    out = []
    for _ in range(waves):
        length = shortest * (longest / shortest) ** rng.random()
        angle = 2 * np.pi * rng.random()
        k = 2 * np.pi / length
        out.append([k * np.cos(angle), k * np.sin(angle), 2 * np.pi * rng.random(), amplitude])
    return np.array(out)


def value(waves, x, y):
    v = np.full(x.shape, 0.5)
    for kx, ky, phase, a in waves:
        v += a * np.sin(kx * x + ky * y + phase)
    return v


def places(w, h):
    return np.array([[w * i / 4, h * j / 4] for j in range(5) for i in range(5)])


def apply(m, p):
    q = np.c_[p, np.ones(len(p))] @ m.T
    return q[:, :2] / q[:, 2:]


def worst(found, truth):
    p = places(W, H)
    return float(np.max(np.hypot(*(apply(found, p) - apply(truth, p)).T)))


def centred(a):
    """A map given about the picture's centre, as one for pixels counted from the corner."""
    t = np.array([[1, 0, W / 2], [0, 1, H / 2], [0, 0, 1.0]])
    return t @ a @ np.linalg.inv(t)


def similarity(dx, dy, roll_deg, zoom):
    c, s = zoom * np.cos(np.radians(roll_deg)), zoom * np.sin(np.radians(roll_deg))
    return np.array([[c, -s, dx], [s, c, dy], [0, 0, 1.0]])


def registration_cases():
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    y, x = np.mgrid[0:H, 0:W] + 0.5
    tilt = similarity(2.2, -1.4, 0.2, 1.003)
    tilt[2, :2] = [1.5e-5, -1.1e-5]
    cases = []
    for i, (name, inner, mode) in enumerate([
        ("translation", similarity(3.37, -1.62, 0, 1), cv2.MOTION_TRANSLATION),
        ("similarity", similarity(-2.1, 4.3, 0.6, 1.008), cv2.MOTION_AFFINE),
        ("homography", tilt, cv2.MOTION_HOMOGRAPHY),
    ]):
        truth = centred(inner)
        truth /= truth[2, 2]
        waves = texture(100 + i)
        fixed = value(waves, x, y).astype(np.float32)
        back = apply(np.linalg.inv(truth), np.c_[x.ravel(), y.ravel()])
        moving = value(waves, back[:, 0].reshape(H, W), back[:, 1].reshape(H, W)).astype(np.float32)
        start = np.eye(3 if mode == cv2.MOTION_HOMOGRAPHY else 2, 3, dtype=np.float32)
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 300, 1e-9)
        _, found = cv2.findTransformECC(fixed, moving, start, mode, stop, None, 5)
        found = np.vstack([found, [0, 0, 1]]) if found.shape[0] == 2 else found
        case = {
            "name": name,
            "waves": waves.tolist(),
            "truth_px": truth.tolist(),
            "opencv_ecc_worst_px": worst(half @ found.astype(float) @ np.linalg.inv(half), truth),
        }
        if name == "translation":
            # Without a window and with normalisation it is pixels off on so soft a texture: the borders correlate.
            window = np.outer(np.hanning(H), np.hanning(W))
            pair = [(p - 0.5) * window for p in (fixed, moving)]
            shift, _, _ = phase_cross_correlation(*pair, upsample_factor=100, normalization=None)
            dx, dy = -shift[1], -shift[0]
            case["scikit_image_phase_worst_px"] = worst(np.array([[1, 0, dx], [0, 1, dy], [0, 0, 1.0]]), truth)
        cases.append(case)
    return cases


def straighten(p, k1, k2):
    c = np.array([GRID_W / 2, GRID_H / 2])
    d = p - c
    r2 = (d ** 2).sum(-1, keepdims=True) / (c ** 2).sum()
    return c + d * (1 + k1 * r2 + k2 * r2 * r2)


def distortion_cases():
    y, x = np.mgrid[0:GRID_H, 0:GRID_W] + 0.5
    cases = []
    for k1, k2 in [(0.05, 0.0), (-0.04, 0.01), (0.002, 0.0)]:
        pitch, f = 80.0, 1200.0
        turn, _ = cv2.Rodrigues(np.array([0.12, -0.10, 0.03]))
        k = np.array([[f, 0, GRID_W / 2], [0, f, GRID_H / 2], [0, 0, 1.0]])
        to_straight = k @ np.c_[turn[:, :2], [-8.0, 4.0, f]]
        to_board = np.linalg.inv(to_straight)
        board = apply(to_board, straighten(np.stack([x, y], -1), k1, k2).reshape(-1, 2)).reshape(GRID_H, GRID_W, 2)
        edge = lambda c: np.tanh((np.abs((c / pitch) % 2 - 1) - 0.5) * pitch / 0.9)
        picture = 0.3 + 0.25 * edge(board[..., 0]) * edge(board[..., 1])
        # All corners of the board inside the frame, started two pixels off and refined by OpenCV.
        corners, plane = [], []
        for i in range(-9, 10):
            for j in range(-9, 10):
                b = np.array([(i + 0.5) * pitch, (j + 0.5) * pitch])
                straight = apply(to_straight, b[None])[0]
                p = straight.copy()
                for _ in range(50):
                    p = p - (straighten(p, k1, k2) - straight)
                if (p > 14).all() and p[0] < GRID_W - 14 and p[1] < GRID_H - 14:
                    corners.append(p - 0.5 + [1.3, -1.1])
                    plane.append([b[0], b[1], 0])
        grey = np.clip(picture * 255, 0, 255).round().astype(np.uint8)
        corners = np.array(corners, np.float32).reshape(-1, 1, 2)
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 100, 1e-6)
        corners = cv2.cornerSubPix(grey, corners, (6, 6), (-1, -1), stop)
        k[:2, 2] -= 0.5
        flags = (cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_FOCAL_LENGTH | cv2.CALIB_FIX_PRINCIPAL_POINT
                 | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3)
        rms, k, dist, _, _ = cv2.calibrateCamera([np.array(plane, np.float32)], [corners], (GRID_W, GRID_H), k,
                                                 np.zeros(5), flags=flags)
        corner = np.array([[[-0.5, -0.5]]])
        straight = cv2.undistortPoints(corner, k, dist, R=np.eye(3), P=k, criteria=
                                           (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 200, 1e-10))
        radius = float(np.hypot(GRID_W, GRID_H)) / 2
        cv_px = radius - float(np.hypot(*(straight[0, 0] + 0.5 - [GRID_W / 2, GRID_H / 2])))
        truth_px = radius * -(k1 + k2)
        cases.append({"k1": k1, "k2": k2, "pitch": pitch, "straight_to_board": to_board.tolist(),
                      "truth_corner_pull_px": truth_px, "opencv_corner_pull_px": cv_px, "opencv_rms_px": rms,
                      "corners": len(plane)})
    return cases


out = {
    "libraries": {"opencv": cv2.__version__, "scikit-image": skimage.__version__, "numpy": np.__version__},
    "size": [W, H],
    "registration": registration_cases(),
    "grid_size": [GRID_W, GRID_H],
    "distortion": distortion_cases(),
}
Path(__file__).with_name("reference.json").write_text(json.dumps(out, indent=1) + "\n")
for c in out["registration"]:
    print(c["name"], {k: v for k, v in c.items() if k.endswith("worst_px")})
for c in out["distortion"]:
    print({k: v for k, v in c.items() if k.endswith("px") or k in ("k1", "k2", "corners")})
