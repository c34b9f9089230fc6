"""What each shot is: classes dealt out in fixed proportions, everything else drawn by seed."""

from dataclasses import dataclass

import numpy as np

import light
from spheres import SURFACES

HALVES = {"work": (120, 41_001), "report": (120, 77_003), "smoke": (12, 13_007), "practice": (2000, 91_019)}

SETTINGS = {"table": 26, "stand": 20, "floor": 14, "plain": 12, "post": 10, "box": 10, "hand": 8}
SURFACE_SHARES = dict(zip(SURFACES, (34, 14, 10, 8, 10, 10, 8, 6)))
FORMATS = {"jpeg": 44, "linear": 38, "log": 18}
FOCUS = {"sharp": 62, "soft": 24, "out": 14}
EXPOSURES = {"good": 60, "over": 18, "under": 22}
PRACTICE = {
    "setting": {"table": 26, "stand": 16, "floor": 14, "plain": 8, "post": 12, "box": 14, "hand": 10},
    "surface": {"chrome": 26, "real_chrome": 14, "rough": 12, "tinted": 8, "globe": 16, "dusty": 10, "scratched": 8, "seam": 6},
    "format": {"jpeg": 60, "linear": 25, "log": 15}, "exposure": {"good": 50, "over": 22, "under": 28},
    "focus": {"sharp": 55, "soft": 28, "out": 17}, "hiding": {"none": 80, "object": 12, "frame_edge": 8},
}
SMALL_FRAMES = {"smoke": 1.5e5, "practice": 3e5}
CG_ERRORS = {
    "right": 40, "environment_turned": 11, "gain": 9, "colour": 8, "key_moved": 8, "lamp_gain": 5, "missing_light": 4,
    "extra_light": 5, "flopped": 4, "clipped_environment": 3, "display_encoded": 2, "upside_down": 1,
}
HIDING = {"none": 84, "object": 9, "frame_edge": 7}
SIZES = {"normal": 82, "large": 14, "huge": 4}
NEEDS_LAMPS = ("key_moved", "lamp_gain", "missing_light")
BAKED = ("flopped", "clipped_environment", "display_encoded", "upside_down")


def dealt(seed, what, shares, count, index):
    """The index-th card of a pack in which every class has its share, shuffled by the seed."""
    names, weights = list(shares), np.array(list(shares.values()), float)
    exact = weights / weights.sum() * count
    copies = np.floor(exact).astype(int)
    for extra in np.argsort(-(exact - copies), kind="stable")[: count - copies.sum()]:
        copies[extra] += 1
    pack = np.repeat(np.arange(len(names)), copies)
    np.random.default_rng([seed, sum(map(ord, what))]).shuffle(pack)
    return names[pack[index]]


@dataclass
class Recipe:
    half: str
    index: int
    seed: int
    width: int = 0
    height: int = 0
    fov_deg: float = 0.0
    radius_px: float = 0.0
    centre_px: tuple = (0, 0)
    sphere_radius: float = 0.1
    distance: float = 1.0
    camera_elevation_deg: float = 0.0
    camera_roll_deg: float = 0.0
    setting: str = ""
    surface: str = ""
    format: str = ""
    focus: str = ""
    exposure: str = ""
    cg_error: str = ""
    cg_baked: bool = False
    hiding: str = ""
    size: str = ""
    environment: str = ""
    bracket: bool = False
    plate_given: bool = True
    lens_given: bool = True
    clip_given: bool = False
    reflectance_given: bool = False
    crew: int = 0
    lamps: int = 0
    second_mirror: bool = False
    grey_sphere: bool = False
    attempt: int = 0

    @property
    def name(self):
        return f"{self.half}_{self.index:0{4 if self.half == 'practice' else 3}d}"

    def rng(self, what):
        return np.random.default_rng([self.seed, self.index, self.attempt, sum(map(ord, what)) + 1000 * len(what)])


def draw(half, index):
    count, seed = HALVES[half]
    recipe = Recipe(half, index, seed)
    deal_classes(recipe, count)
    if half == "practice":
        deal_practice(recipe, recipe.rng("practice"))
    rng = recipe.rng("frame")
    draw_frame(recipe, rng)
    draw_view(recipe, rng)
    draw_company(recipe, recipe.rng("company"))
    return recipe


def deal_classes(recipe, count):
    def card(what, shares):
        return dealt(recipe.seed, what, shares, count, recipe.index)

    recipe.setting, recipe.surface = card("setting", SETTINGS), card("surface", SURFACE_SHARES)
    recipe.format, recipe.focus, recipe.exposure = card("format", FORMATS), card("focus", FOCUS), card("exposure", EXPOSURES)
    recipe.cg_error, recipe.hiding = card("cg", CG_ERRORS), card("hiding", HIDING)
    recipe.size = "normal" if recipe.half == "smoke" else card("size", SIZES)
    recipe.bracket = card("bracket", {"yes": 40, "no": 60}) == "yes" and recipe.size != "huge"
    recipe.plate_given = card("plate", {"yes": 88, "no": 12}) == "yes"
    recipe.lens_given = card("lens", {"yes": 70, "no": 30}) == "yes"
    recipe.clip_given = card("clip", {"yes": 50, "no": 50}) == "yes"
    recipe.reflectance_given = card("reflectance", {"yes": 50, "no": 50}) == "yes"
    recipe.cg_baked = recipe.cg_error in BAKED or (recipe.cg_error not in NEEDS_LAMPS + ("extra_light",) and card("baked", {"yes": 45, "no": 55}) == "yes")
    outdoors = recipe.setting == "post" or card("outdoors", {"yes": 45, "no": 55}) == "yes"
    names = light.OUTDOORS if outdoors else light.INDOORS
    recipe.environment = names[int(recipe.rng("environment").integers(len(names)))]


def drawn(rng, shares):
    weights = np.array(list(shares.values()), float)
    return str(rng.choice(list(shares), p=weights / weights.sum()))


def deal_practice(recipe, rng):
    for name, shares in PRACTICE.items():
        setattr(recipe, name, drawn(rng, shares))
    recipe.cg_error, recipe.size, recipe.lens_given = "right", "normal", bool(rng.uniform() < 0.5)


def draw_frame(recipe, rng):
    pixels = {"normal": rng.uniform(0.9e6, 2.1e6), "large": rng.uniform(4e6, 8e6), "huge": rng.uniform(23e6, 25e6)}[recipe.size]
    if recipe.half in SMALL_FRAMES:
        pixels = SMALL_FRAMES[recipe.half]
    aspect = rng.choice([16 / 9, 1.85, 1.5, 2.39, 4 / 3, 16 / 9])
    recipe.height = int(round((pixels / aspect) ** 0.5 / 2)) * 2
    recipe.width = int(round(recipe.height * aspect / 2)) * 2
    recipe.fov_deg = float(np.exp(rng.uniform(np.log(15), np.log(75))))


def draw_view(recipe, rng):
    ranges = {"normal": (30, 260), "large": (45, 480), "huge": (110, 900)}[recipe.size]
    if recipe.half in SMALL_FRAMES:
        ranges = (26, 90) if recipe.half == "smoke" else (23, 140)
    elif recipe.size == "normal" and rng.uniform() < 0.07:
        ranges = (24, 34)
    largest = 0.4 * recipe.height
    recipe.radius_px = float(min(np.exp(rng.uniform(*np.log(ranges))), largest))
    place_sphere_in_frame(recipe, rng)
    focal = recipe.width / 2 / np.tan(np.radians(recipe.fov_deg) / 2)
    sizes = np.array([0.03, 0.04, 0.05, 0.06, 0.075, 0.1, 0.125, 0.15])
    distances = focal * sizes / recipe.radius_px
    fitting = np.flatnonzero((distances > 0.55) & (distances < 7))
    chosen = rng.choice(fitting) if len(fitting) else np.argmin(np.abs(np.log(distances / 1.5)))
    recipe.sphere_radius, recipe.distance = float(sizes[chosen]), float(distances[chosen])
    recipe.camera_elevation_deg = float(rng.uniform(-6, 32))
    recipe.camera_roll_deg = float(rng.normal(0, 0.8))


def place_sphere_in_frame(recipe, rng):
    margin = recipe.radius_px * 1.15
    x = recipe.width * np.clip(rng.normal(0.5, 0.17), 0.08, 0.92)
    y = recipe.height * np.clip(rng.normal(0.53, 0.12), 0.1, 0.9)
    x = np.clip(x, margin, recipe.width - margin)
    y = np.clip(y, margin, recipe.height - margin)
    if recipe.hiding == "frame_edge":
        over = recipe.radius_px * rng.uniform(0.25, 0.85)
        edges = [(over, y), (recipe.width - over, y), (x, recipe.height - over)]
        x, y = edges[int(rng.integers(3))]
    recipe.centre_px = (float(x), float(y))


def draw_company(recipe, rng):
    lonely = recipe.setting == "plain"
    recipe.crew = 0 if lonely and rng.uniform() < 0.5 else int(rng.integers(1, 5))
    recipe.lamps = int(rng.choice([0, 1, 2, 3], p=[0.25, 0.35, 0.27, 0.13]))
    if recipe.cg_error in NEEDS_LAMPS:
        recipe.lamps = max(recipe.lamps, 2 if recipe.cg_error == "missing_light" else 1)
    recipe.second_mirror = not lonely and rng.uniform() < 0.12
    recipe.grey_sphere = not lonely and rng.uniform() < 0.14
