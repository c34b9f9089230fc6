"""The shots: what was set up, and what the CG got wrong on purpose. Names are from a short film about a salt ferry."""

from dataclasses import dataclass, field
from typing import Optional

import numpy as np

from environment import Light, Surroundings
from geometry import Camera, Sphere

CHROME = (0.62, 0.60, 0.56)
SMOKED = (0.48, 0.50, 0.53)
SILVER = (0.95, 0.93, 0.88)
NO_GAIN = (1.0, 1.0, 1.0)


@dataclass
class Shot:
    folder: str
    says: str
    camera: Camera
    axis_px: tuple
    radius_px: float
    mirror: Surroundings
    cg: Surroundings
    reflectance: tuple = CHROME
    cg_reflectance: Optional[tuple] = None
    cg_on_black: bool = True
    cg_camera: Optional[Camera] = None
    cg_cropped_to_sphere: bool = False
    stand: bool = False
    noise: bool = False
    clip_level: Optional[float] = None
    mirror_stops: float = 0.0
    metadata_stops: Optional[float] = None
    correct_drift: bool = False
    plate_shift_px: tuple = (0.0, 0.0)
    sensor_crop: bool = False
    unresolved: tuple = ()
    expect: dict = field(default_factory=dict)

    def sphere(self):
        return Sphere.at_pixel(self.camera, self.axis_px, self.radius_px)


WARM, COOL, NEUTRAL = (1.0, 0.72, 0.46), (0.80, 0.95, 1.15), (1.0, 0.97, 0.92)


def lit(ambience, *lights, gains=NO_GAIN):
    return Surroundings(ambience, gains, lights)


def whole(side, gains):
    """Everything times a gain per channel, lights too."""
    return Surroundings(
        side.ambience,
        tuple(np.array(side.gains) * gains),
        tuple(l.scaled(np.array(gains)) for l in side.lights),
        side.turned_deg,
    )


def stops(value):
    return np.full(3, 2.0**value)


def changed(side, name, change):
    """One light changed; `change` gives the new one, or None to take it away."""
    lights = [change(l) if l.name == name else l for l in side.lights]
    return Surroundings(side.ambience, side.gains, tuple(l for l in lights if l), side.turned_deg)


def with_fill(side, factor):
    return Surroundings(side.ambience, tuple(np.array(side.gains) * factor), side.lights, side.turned_deg)


def turned(side, degrees):
    return Surroundings(
        side.ambience, side.gains, tuple(l.moved(degrees) for l in side.lights), side.turned_deg + degrees
    )


def plus(side, light):
    return Surroundings(side.ambience, side.gains, (*side.lights, light), side.turned_deg)


def shots():
    s = []
    a = lit("deck_dusk", Light("key", -48, 32, 6, 4.2, WARM), Light("kick", 104, 14, 10, 1.3, COOL))
    s.append(
        Shot(
            "sf_010_all_match",
            "CG is the same surroundings with another seed",
            Camera.from_fov(360, 216, 40),
            (172, 104),
            80,
            a,
            a,
        )
    )

    b = lit(
        "salt_hall",
        Light("key", 38, 44, 2, 3.0, NEUTRAL),
        Light("top", -72, 68, 8, 1.4, NEUTRAL),
        Light("bank", -124, 18, 18, 1.0, COOL),
    )
    s.append(
        Shot(
            "sf_020_all_match_long_lens",
            "all match, narrow view, three lights, CG over its background without alpha",
            Camera.from_fov(300, 240, 18),
            (166, 112),
            100,
            b,
            b,
            cg_on_black=False,
        )
    )

    c = lit("quay", Light("key", 55, 40, 4, 3.6, NEUTRAL))
    s.append(
        Shot(
            "sf_030_key_turned",
            "key turned +12 deg in azimuth and -4 deg in elevation",
            Camera.from_fov(300, 180, 32),
            (118, 84),
            60,
            c,
            changed(c, "key", lambda l: l.moved(12, -4)),
            stand=True,
        )
    )

    d = lit("cabin", Light("key", -30, 20, 9, 2.2, WARM), Light("window", 128, 30, 14, 0.9, COOL))
    s.append(
        Shot(
            "sf_040_under_exposed",
            "everything 0.6 stop too dark; CG sphere of another reflectance",
            Camera.from_fov(400, 220, 50),
            (282, 92),
            70,
            d,
            whole(d, stops(-0.6)),
            reflectance=SILVER,
            cg_reflectance=(0.9, 0.9, 0.9),
        )
    )

    e = lit("deck_dusk", Light("key", 62, 26, 5, 3.8, NEUTRAL), Light("sidelight", -96, 8, 12, 1.1, WARM))
    s.append(
        Shot(
            "sf_050_too_warm",
            "gains 1.25, 1.00, 0.80 on everything",
            Camera.from_fov(340, 280, 28),
            (170, 138),
            120,
            e,
            whole(e, (1.25, 1.0, 0.80)),
        )
    )

    f = lit("quay", Light("key", -64, 36, 7, 4.4, NEUTRAL), Light("lamp", 88, 22, 5, 1.2, WARM))
    s.append(
        Shot(
            "sf_060_fill_low",
            "fill at 0.45, lights unchanged; wide view, sphere far off axis",
            Camera.from_fov(440, 200, 60),
            (338, 76),
            50,
            f,
            with_fill(f, 0.45),
            reflectance=SMOKED,
        )
    )

    g = lit("salt_hall", Light("key", -22, 52, 5, 3.0, NEUTRAL), Light("side", 92, 16, 6, 1.0, WARM))
    s.append(
        Shot(
            "sf_070_key_strong",
            "key 2.3 times too strong, fill right",
            Camera.from_fov(260, 230, 24),
            (124, 118),
            90,
            g,
            changed(g, "key", lambda l: l.scaled(2.3)),
            stand=True,
        )
    )

    h = lit(
        "quay",
        Light("key", 42, 34, 6, 4.0, NEUTRAL),
        Light("lantern", -80, 12, 4, 2.0, WARM),
        Light("hatch", -8, 74, 10, 0.9, COOL),
    )
    s.append(
        Shot(
            "sf_080_light_missing",
            "the lantern is missing in the CG",
            Camera.from_fov(420, 250, 45),
            (140, 128),
            100,
            h,
            changed(h, "lantern", lambda l: None),
            reflectance=SMOKED,
        )
    )

    i = lit("cabin", Light("key", -52, 28, 6, 2.6, WARM), Light("door", 118, 6, 11, 0.7, COOL))
    s.append(
        Shot(
            "sf_090_light_extra",
            "an extra light of half the key's strength; photographs with noise",
            Camera.from_fov(280, 190, 36),
            (138, 92),
            75,
            i,
            plus(i, Light("stray", 58, 46, 5, 1.3, NEUTRAL)),
            noise=True,
        )
    )

    j = lit(
        "deck_dusk",
        Light("key", 34, 38, 5, 3.6, NEUTRAL),
        Light("rim", -152, 16, 5, 2.0, COOL),
        Light("kicker", 134, -8, 6, 1.3, WARM),
        Light("top", -60, 60, 9, 0.9, NEUTRAL),
    )
    s.append(
        Shot(
            "sf_100_rim_lights_match",
            "all match; four lights, two of them close to the rim",
            Camera.from_fov(340, 260, 40),
            (176, 126),
            110,
            j,
            j,
            cg_on_black=False,
        )
    )

    k = lit("salt_hall", Light("back", 134, 22, 8, 4.6, COOL), Light("front", -36, 30, 10, 1.2, NEUTRAL))
    s.append(
        Shot(
            "sf_110_back_key_turned",
            "the key stands behind the sphere and is turned -15 deg in azimuth",
            Camera.from_fov(360, 230, 55),
            (208, 122),
            85,
            k,
            changed(k, "back", lambda l: l.moved(-15)),
            reflectance=SILVER,
            stand=True,
        )
    )

    m = lit("quay", Light("key", -40, 48, 0.2, 3.4, NEUTRAL), Light("panel", 76, 18, 9, 1.1, WARM))
    s.append(
        Shot(
            "sf_120_tiny_key_match",
            "all match; the key is far smaller than a pixel of the sphere",
            Camera.from_fov(240, 140, 30),
            (112, 68),
            40,
            m,
            m,
            unresolved=("key",),
        )
    )

    n = lit("deck_dusk", Light("key", 46, 30, 2.5, 4.0, NEUTRAL), Light("bounce", -84, 10, 12, 1.1, WARM))
    s.append(
        Shot(
            "sf_130_clipped",
            "the mirror frame clips its key; the CG key is turned +14 deg in azimuth",
            Camera.from_fov(280, 170, 34),
            (146, 84),
            62,
            n,
            changed(n, "key", lambda l: l.moved(14)),
            clip_level=12.5,
            noise=True,
            expect={"key-fill-ratio": "unsure", "colour-balance": "not-mismatch"},
        )
    )

    o = lit("cabin", Light("key", -58, 24, 4, 2.8, NEUTRAL), Light("skylight", 24, 66, 12, 1.2, COOL))
    s.append(
        Shot(
            "sf_140_cg_own_camera",
            "large sphere; the CG has its own camera and a data window round the sphere, "
            "is 0.6 stop too bright and cool",
            Camera.from_fov(460, 430, 35),
            (236, 212),
            200,
            o,
            whole(o, stops(0.6) * (0.80, 1.0, 1.22)),
            cg_camera=Camera.from_fov(320, 260, 44, used_width_mm=30.0),
            cg_cropped_to_sphere=True,
            cg_reflectance=NO_GAIN,
        )
    )

    p = lit("quay", Light("key", 70, 32, 5, 3.8, NEUTRAL), Light("glow", -66, 20, 14, 1.3, WARM))
    s.append(
        Shot(
            "sf_150_turned_mirror_exposed_up",
            "surroundings turned by 192 columns (+16.875 deg); the mirror frame was exposed one stop "
            "up and its attributes say so",
            Camera.from_fov(300, 190, 38),
            (142, 94),
            65,
            p,
            turned(p, 16.875),
            noise=True,
            mirror_stops=1.0,
            metadata_stops=1.0,
            sensor_crop=True,
        )
    )

    q = lit("salt_hall", Light("key", -34, 36, 7, 3.4, NEUTRAL), Light("second", 66, 30, 6, 3.0, WARM))
    s.append(
        Shot(
            "sf_160_two_keys_plate_shifted",
            "two lights within a third of a stop; both turned +13 deg, 0.55 stop too bright; "
            "the plate is shifted by (1.6, -0.7) px",
            Camera.from_fov(380, 290, 42),
            (206, 148),
            130,
            q,
            whole(changed(changed(q, "key", lambda l: l.moved(13)), "second", lambda l: l.moved(13)), stops(0.55)),
            plate_shift_px=(1.6, -0.7),
        )
    )

    r = lit("deck_dusk", Light("key", -56, 40, 6, 4.0, WARM), Light("fill_lamp", 50, 14, 16, 1.0, NEUTRAL))
    s.append(
        Shot(
            "sf_170_mirror_drifted",
            "the mirror frame is 0.6 stop brighter than the plate and no attribute says so; the sheet "
            "asks for the correction; the CG is right",
            Camera.from_fov(260, 170, 30),
            (132, 88),
            55,
            r,
            r,
            mirror_stops=0.6,
            metadata_stops=0.0,
            correct_drift=True,
        )
    )

    t = lit("quay", Light("key", -44, 30, 6, 3.4, NEUTRAL), Light("lamp", 98, 24, 8, 1.3, WARM))
    t_cg = whole(changed(t, "key", lambda l: l.moved(-1.6, 0.8)), stops(0.08) * (1.015, 1.0, 0.985))
    s.append(
        Shot(
            "sf_180_small_errors_match",
            "all errors present and all below half the tolerance",
            Camera.from_fov(320, 220, 40),
            (150, 106),
            80,
            t,
            t_cg,
        )
    )
    return s
