"""What a report asks for, done to the CG's surroundings as an artist would do it, and what is off afterwards."""

import numpy as np

from light_truth import LUMINANCE, angle_deg, direction_of_deg, key_of

TOLERANCE = {"key": 5.0, "key-fill-ratio": 0.33, "surroundings": 0.25, "illuminance": 0.25, "colour-balance": 0.1}
# A fix makes a CG worse where it takes a number further beyond its tolerance than this part of it.
WORSE = 0.25
LARGEST_LIGHT_DEG = 25.0


def steps(report):
    """The actions of a report in the order in which its text tells them."""
    findings = [f for f in report.get("findings", []) if f["verdict"] == "mismatch" and f.get("concerns") != "reference" and "action" in f]
    findings.sort(key=lambda f: "after" in f.get("detail", {}))
    turned = any(f["action"]["kind"] == "turn-environment" for f in findings)
    done = []
    for finding in findings:
        action = finding["action"]
        if not (turned and action["kind"] == "turn-light") and action not in done:
            done.append(action)
    return done


def flood(scene, luminance, towards):
    """Pixels of the light that stands there: those connected to its peak that are brighter than half of it, and two around."""
    cosine = scene.directions @ towards
    near = np.flatnonzero(cosine > np.cos(np.radians(5)))
    peak = near[np.argmax(luminance[near])]
    level, reach = 0.5 * luminance[peak], np.cos(np.radians(LARGEST_LIGHT_DEG))
    height, width = scene.height, scene.width
    allowed = (luminance > level) & (scene.directions @ scene.directions[peak] > reach)
    inside, front = {peak}, [peak]
    while front:
        i = front.pop()
        for j in around(i, height, width):
            if allowed[j] and j not in inside:
                inside.add(j)
                front.append(j)
    for _ in range(2):
        inside |= {j for i in inside for j in around(i, height, width)}
    return np.array(sorted(inside))


def around(i, height, width):
    row, column = divmod(i, width)
    beside = [row * width + (column + 1) % width, row * width + (column - 1) % width]
    return beside + [r * width + column for r in (row - 1, row + 1) if 0 <= r < height]


def taken_out(scene, light, towards):
    """A light on its own, and what stays behind it."""
    luminance = light @ LUMINANCE
    inside = flood(scene, luminance, towards)
    centre = (scene.directions[inside] * (luminance[inside] * scene.steradian[inside])[:, None]).sum(0)
    centre /= np.linalg.norm(centre)
    cosine = scene.directions @ centre
    radius = np.arccos(np.clip(cosine[inside].min(), -1, 1))
    ring = (cosine < np.cos(radius + 0.02)) & (cosine > np.cos(radius + 0.15))
    behind = np.median(light[ring], 0) if ring.any() else np.zeros(3)
    alone = np.zeros_like(light)
    alone[inside] = np.clip(light[inside] - behind, 0, None)
    return alone, light - alone


def lights_of(scene, light):
    """Everything that stands out, and the rest."""
    all_lights, rest = np.zeros_like(light), light
    whole = (light @ LUMINANCE * scene.steradian).sum()
    for _ in range(8):
        alone, without = taken_out(scene, rest, key_of(rest @ LUMINANCE, scene.directions, scene.steradian))
        if (alone @ LUMINANCE * scene.steradian).sum() < 0.01 * whole:
            break
        all_lights, rest = all_lights + alone, without
    return all_lights, rest


def rotation_between(a, b):
    axis = np.cross(a, b)
    if np.linalg.norm(axis) < 1e-9:
        return np.eye(3)
    from light_truth import rotation_about

    return rotation_about(axis / np.linalg.norm(axis), angle_deg(a, b))


def turn(action):
    from light_truth import rotation_about

    axes = np.eye(3)
    return rotation_about(axes[2], action["roll_deg"]) @ rotation_about(axes[0], action["tilt_deg"]) @ rotation_about(axes[1], action["heading_deg"])


def place(p):
    return direction_of_deg(p["azimuth_deg"], p["elevation_deg"])


def with_gain(scene, light, part):
    gain = np.array(part["rgb"])
    if "at" in part:
        alone, rest = taken_out(scene, light, place(part["at"]))
        return rest + alone * gain
    share = part.get("all")
    if share in ("keys", "all_but_keys"):
        alone, rest = taken_out(scene, light, key_of(light @ LUMINANCE, scene.directions, scene.steradian))
        return alone * gain + rest if share == "keys" else alone + rest * gain
    if share in ("lights", "surroundings"):
        alone, rest = lights_of(scene, light)
        return alone * gain + rest if share == "lights" else alone + rest * gain
    return light


def added(scene, light, seen):
    """A light of the share that the photograph shows, of its own colour there."""
    towards = place(seen["at"])
    cosine = scene.directions @ towards
    facing = ((scene.ours @ LUMINANCE) * np.clip(cosine, 0, None) * scene.steradian).sum()
    disc = cosine > np.cos(np.radians(3))
    own = scene.ours[disc].mean(0)
    own = own / max(own @ LUMINANCE, 1e-9)
    out = light.copy()
    out[disc] += own * seen["share"] * facing / scene.steradian[disc].sum()
    return out


def done(scene, light, action):
    kind = action["kind"]
    if kind == "turn-environment":
        return scene.looked_up(light, scene.directions @ turn(action))
    if kind == "gain":
        return light * np.array(action["rgb"])
    if kind == "turn-light":
        alone, rest = taken_out(scene, light, place(action["from"]))
        return rest + scene.looked_up(alone, scene.directions @ rotation_between(place(action["from"]), place(action["to"])))
    if kind == "light-gain":
        for part in action["lights"]:
            light = with_gain(scene, light, part)
    if kind == "add-light":
        for seen in action["lights"]:
            light = added(scene, light, seen)
    if kind == "remove-light":
        for seen in action["lights"]:
            light = taken_out(scene, light, place(seen["at"]))[1]
    return light


CHANGES_LIGHT = ("turn-environment", "gain", "turn-light", "light-gain", "add-light", "remove-light")


def off(scene, light):
    """Every number over its tolerance."""
    numbers = scene.numbers(light, light)
    keys = [key_of(side @ LUMINANCE, scene.directions, scene.steradian) for side in (scene.ours, light)]
    values = {**{k: numbers[k] for k in TOLERANCE if k in numbers}, "key": angle_deg(*keys)}
    return {k: abs(v) / TOLERANCE[k] for k, v in values.items()}


def effect(scene, report):
    """What is off before and after all fixes, and which numbers they made worse; `None` where no fix changes light."""
    actions = [a for a in steps(report) if a["kind"] in CHANGES_LIGHT]
    if not actions:
        return None
    light = scene.theirs
    for action in actions:
        light = done(scene, light, action)
    before, after = off(scene, scene.theirs), off(scene, light)
    worse = [k for k in after if after[k] > max(before[k], 1.0) + WORSE]
    return {"actions": [a["kind"] for a in actions], "before": before, "after": after, "worse": worse}
