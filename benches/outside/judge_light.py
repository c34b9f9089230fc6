"""What `check` says of the outside shots with the true outline given, held against the truth of their surroundings.

    python benches/outside/judge_light.py --shots DIR [--half work] [--variant NAME] [--only 3,7] [--keep FILE] [--csv FILE]

Truth comes from `truth_env.exr` and `cg_env.exr` alone, and every number is compared with its sign. A false match is a truth above 1.1
tolerances called `match`, a false mismatch one below the tolerance called `mismatch`, or one that says the opposite of the truth; decided
counts findings whose truth is below half or above twice the tolerance. z is the error of a signed number over its stated deviation:
azimuth and elevation of the key's error, both numbers of the exposure, the worst channel of the colour. Where the photograph is
clipped, contrast and what a subject receives are those of a CG cut off alike, of which no truth is known; they have verdicts and no z.

The fixes of every report are then applied, in its order, to `cg_env.exr` (`apply_fixes.py`), and what is off before and after is told.
`--variant` changes the photographs before they are judged: `untold` drops every clip level that a sheet states, `cut` cuts linear
frames off at one equal level, `cut-gain` at the levels that a white balance
after clipping leaves, `cut-resampled` and `cut-grain` do something more to them afterwards, `late-cut-bracket` takes single
linear exposures apart into a bracket of which all but the shortest frame are cut off; of right CGs, `flopped` and `upside-down` mirror and
turn the picture, `half-size` halves it, `cropped` cuts it to a square about its sphere without a word, `no-alpha` lays it over the plate.
"""

import argparse
import csv
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import numpy as np

import apply_fixes
from light_truth import Scene, angle_deg, azimuth_elevation_deg, direction_of_deg, rotation_about
from variants import changed

TOLERANCE = {"highlight-direction": 5.0, "key-fill-ratio": 0.33, "exposure": 0.25, "colour-balance": 0.1, "environment-rotation": 5.0}


def absolute(node, folder):
    if isinstance(node, dict):
        for key, value in node.items():
            if key == "frame" and isinstance(value, str):
                node[key] = os.path.join(folder, value)
            else:
                node[key] = absolute(value, folder)
        return node
    if isinstance(node, list):
        return [os.path.join(folder, v) if isinstance(v, str) and os.path.exists(os.path.join(folder, v)) else absolute(v, folder) for v in node]
    return node


def judge(arguments):
    folder, variant, program, kept, search, with_fixes = arguments
    scene = Scene(folder)
    truth = scene.truth
    sheet = absolute(json.load(open(f"{folder}/shot.json")), folder)
    with tempfile.TemporaryDirectory() as out:
        if variant:
            sheet = changed(folder, sheet, variant, out, np.random.default_rng(sum(map(ord, folder))))
            if sheet is None:
                return None
        outlines_given(sheet, truth, search)
        json.dump(sheet, open(f"{out}/shot.json", "w"))
        report = report_of(program, out, kept and f"{kept}/{os.path.basename(folder)}.json")
    return os.path.basename(folder), report.get("error"), list(verdicts(os.path.basename(folder), scene, report, variant)), apply_fixes.effect(scene, report) if with_fixes else None


def outlines_given(sheet, truth, search):
    """The true outlines, unless the program is to find them."""
    for sphere in sheet["cg"]["spheres"]:
        if search:
            sphere.pop("outline_px", None)
        elif truth["cg"]["delivery"]["comp"] != "alpha":
            sphere.setdefault("outline_px", truth["cg"]["outline_px"])
    for mirror in sheet["mirrors"]:
        if not search:
            mirror["outline_px"] = truth["sphere"]["outline_px"]


def report_of(program, out, kept):
    """The report, from an earlier run where one is kept."""
    if kept and os.path.exists(kept):
        return json.load(open(kept))
    run = subprocess.run([program, "check", f"{out}/shot.json", "--out", f"{out}/reports", "--no-picture", "--format", "json"], capture_output=True, text=True)
    line = run.stdout.strip().splitlines()
    report = json.loads(line[-1]) if line else {"error": run.stderr}
    if kept:
        json.dump(report, open(kept, "w"))
    return report


def signed(finding, true, limited):
    """Numbers of a finding that have a sign, each with its deviation and truth; and whether it says the opposite of the truth."""
    check, detail = finding["check"], finding.get("detail", {})
    number = lambda key: (detail.get(key), detail.get(f"{key}_sd"))
    value, sd = finding.get("value"), finding.get("value_sd")
    if value is None or not sd or true.get(check) is None:
        return [], False
    if check == "key-fill-ratio":
        return ([] if limited else [(value, sd, true[check])]), value * true[check] < 0
    if check == "exposure":
        parts = [(*number(f"{which}_stops"), true[which]) for which in ("surroundings", "illuminance") if not (limited and which == "illuminance")]
        parts = [p for p in parts if p[0] is not None and p[1]]
        decided = "surroundings" if detail.get("decided_by") == "surroundings" else "illuminance"
        return parts, value * true[decided] < 0
    if check == "colour-balance":
        stops = -np.log2(np.maximum(detail.get("channel_gain_rgb", [1, 1, 1]), 1e-9))
        worst = int(np.argmax(np.abs(stops)))
        return [(float(stops[worst]), sd, true["tint"][worst])], float(stops[worst] * true["tint"][worst]) < 0
    if check == "highlight-direction":
        return direction(number, true)
    return rotation(finding, detail, true)


def direction(number, true):
    azimuth, elevation = number("azimuth_error_deg"), number("elevation_error_deg")
    if azimuth[0] is None:
        return [], False
    if true["keys"] is None:
        return [(*azimuth, 0.0), (*elevation, 0.0)], False
    (a0, e0), (a1, e1) = (azimuth_elevation_deg(k) for k in true["keys"])
    apart = (a1 - a0 + 180) % 360 - 180
    error = (azimuth[0] - apart + 180) % 360 - 180
    flat = np.cos(np.radians((e0 + e1) / 2))
    opposite = azimuth[0] * apart * flat**2 + elevation[0] * (e1 - e0) < 0
    return [(apart + error, azimuth[1], apart), (*elevation, e1 - e0)], bool(opposite)


def rotation(finding, detail, true):
    if "correction_heading_deg" not in detail or "turn" not in true:
        return [], False
    measured = apply_fixes.turn({f"{k}_deg": detail[f"correction_{k}_deg"] for k in ("heading", "tilt", "roll")})
    wanted = rotation_about(true["up"], -true["turn"])
    left = np.degrees(np.arccos(np.clip((np.trace(measured @ wanted.T) - 1) / 2, -1, 1)))
    return [(finding["value"], finding["value_sd"], true["environment-rotation"])], bool(left > max(abs(true["turn"]), TOLERANCE["environment-rotation"]))


def verdicts(name, scene, report, variant):
    true = scene.true()
    if variant in ("flopped", "upside-down"):
        # The picture is no longer what the surroundings say; that its light is accused is what is asked.
        true = {check: None for check in TOLERANCE}
    elif scene.turned_deg() is not None:
        true |= {"turn": scene.turned_deg(), "up": scene.up}
    findings = report.get("findings", [])
    limited = any("true_difference_stops" in f.get("detail", {}) for f in findings if f["check"] == "key-fill-ratio")
    for finding in findings:
        check = finding["check"]
        if check not in TOLERANCE or finding["verdict"] == "not-given":
            continue
        t, tolerance, verdict = true.get(check), TOLERANCE[check], finding["verdict"]
        parts, opposite = signed(finding, true, limited) if t is not None else ([], False)
        false = t is not None and ((verdict == "match" and abs(t) > 1.1 * tolerance) or (verdict == "mismatch" and (abs(t) < tolerance or opposite)))
        clear = t is not None and (abs(t) < tolerance / 2 or abs(t) > 2 * tolerance)
        yield {"shot": name, "check": check, "truth": t, "verdict": verdict, "value": finding.get("value"), "sd": finding.get("value_sd"), "false": false, "clear": clear,
               "opposite": opposite, "kind": scene.kind, "classes": classes(scene.truth), "z": [(v - true_value) / sd for v, sd, true_value in parts],
               "parts": parts, "reason": finding.get("reason", ""), "remedy": finding.get("remedy", "")}


def classes(truth):
    """What of the input may make it harder; a shot is in several."""
    c = truth["classes"]
    of = [c["format"] + (" bracket" if c["bracket"] > 1 else ", one exposure")]
    traits = {
        "radius under 40 px": c["radius_px"] < 40, "lens not told": not c["lens_given"], "sphere hidden over 5 %": c["hidden_rim"] > 0.05,
        "soft or out of focus": c["focus"] != "sharp", "overexposed": c["exposure"] == "over", "underexposed": c["exposure"] == "under",
        "worn or dirty sphere": c["surface"] in ("rough", "dusty", "scratched"), "CG without alpha": truth["cg"]["delivery"]["comp"] != "alpha",
    }
    of += [name for name, holds in traits.items() if holds]
    good = not any(holds for name, holds in traits.items() if name != "CG without alpha") and c["format"] != "jpeg"
    return of + (["good input"] if good else [])


def number(value, digits=2):
    return "    -" if value is None else f"{value:+.{digits}f}"


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--shots", required=True)
    arguments.add_argument("--half", default="work")
    arguments.add_argument("--variant", default="")
    arguments.add_argument("--only", default="")
    arguments.add_argument("--largest-mp", type=float, default=3.0)
    arguments.add_argument("--program", default="target/release/plateproof")
    arguments.add_argument("--keep", default="")
    arguments.add_argument("--reports", default="", help="folder of reports: those that are there are judged again, others are made and kept there")
    arguments.add_argument("--no-fixes", action="store_true", help="do not apply the fixes")
    arguments.add_argument("--search", action="store_true", help="give no outline")
    arguments.add_argument("--csv", default="", help="write the table there")
    arguments.add_argument("--jobs", type=int, default=2)
    arguments.add_argument("--all", action="store_true", help="print every finding, not only false ones")
    a = arguments.parse_args()
    only = {int(n) for n in a.only.split(",") if n}
    folders = [f"{a.shots}/{n}" for n in sorted(os.listdir(a.shots)) if n.startswith(a.half + "_") and (not only or int(n[-3:]) in only)]
    folders = [os.path.abspath(f) for f in folders if json.load(open(f"{f}/truth.json"))["classes"]["megapixels"] <= a.largest_mp]
    if a.reports:
        os.makedirs(a.reports, exist_ok=True)
    with ThreadPoolExecutor(a.jobs) as pool:
        done = [d for d in pool.map(judge, [(f, a.variant, os.path.abspath(a.program), a.reports, a.search, not a.no_fixes) for f in folders]) if d]
    rows = [row for d in done for row in d[2]]
    for name, error, _, _ in done:
        if error:
            print(name, "error:", str(error)[:200])
    for row in rows:
        if row["false"] or a.all:
            parts = " ".join(f"{v:+.2f}+/-{sd:.2f} ({t:+.2f})" for v, sd, t in row["parts"])
            print(f"{'FALSE' if row['false'] else '     '} {row['shot']} {row['classes'][0]:20} {row['kind']:18} {row['check']:20} truth {number(row['truth'])} {row['verdict']:9} {number(row['value'])} +/- {number(row['sd'])} [{parts}]{' OPPOSITE' if row['opposite'] else ''}"
                  + (f"\n        {row['reason'][:200]}\n        {row['remedy'][:200]}" if row["false"] or a.only else ""))
    table(rows, a.csv)
    fixes([(name, effect) for name, _, _, effect in done if effect], a.all)
    if a.keep:
        json.dump({"rows": rows, "fixes": {name: effect for name, _, _, effect in done if effect}}, open(a.keep, "w"))


def table(rows, path):
    checks, kinds = sorted({r["check"] for r in rows}), sorted({c for r in rows for c in r["classes"]})
    groups = [(c, "all") for c in checks] + [("all", k) for k in kinds] + [("all", "all")]
    written = [(c, k) for k in ["all", *kinds] for c in ["all", *checks]]
    line = lambda check, kind: summed([r for r in rows if check in ("all", r["check"]) and (kind == "all" or kind in r["classes"])])
    for check, kind in groups:
        s = line(check, kind)
        print(f"{check:20} {kind:24} findings {s['findings']:4} false {s['false']:3} decided {s['decided']:3}/{s['clear']:<3} numbers {s['numbers']:4} within 2 sd {s['within_2_sd']:.2f} mean z2 {s['mean_z2']:8.2f} median z2 {s['median_z2']:5.2f} beyond 4 sd {s['beyond_4_sd']:.3f}")
    if path:
        with open(path, "w", newline="") as f:
            writer = csv.writer(f, lineterminator="\n")
            writer.writerow(["check", "class", *line("all", "all")])
            for check, kind in written:
                s = line(check, kind)
                if s["findings"]:
                    writer.writerow([check, kind, *(round(v, 3) if isinstance(v, float) else v for v in s.values())])


def summed(part):
    clear = [r for r in part if r["clear"]]
    z = np.array([z for r in part for z in r["z"]] or [np.nan])
    return {"findings": len(part), "false": sum(r["false"] for r in part), "decided": sum(r["verdict"] != "unsure" for r in clear), "clear": len(clear), "numbers": int(np.isfinite(z).sum()),
            "within_2_sd": float(np.mean(np.abs(z) < 2)), "mean_z2": float(np.mean(z**2)), "median_z2": float(np.median(z**2)), "beyond_4_sd": float(np.mean(np.abs(z) > 4))}


def fixes(effects, every):
    outside = lambda side: sum(max(over - 1, 0) for over in side.values())
    words = lambda side: " ".join(f"{k} {v:.1f}" for k, v in side.items() if v > 1)
    for name, e in effects:
        if e["worse"] or every:
            print(f"{'WORSE' if e['worse'] else '     '} {name} {', '.join(e['actions'])}: in tolerances {words(e['before']) or 'none'} -> {words(e['after']) or 'none'}")
    better = sum(outside(e["after"]) < outside(e["before"]) for _, e in effects)
    whole = sum(outside(e["after"]) == 0 for _, e in effects)
    print(f"fixes of {len(effects)} reports: {better} bring the CG nearer, {whole} bring it home, {sum(bool(e['worse']) for _, e in effects)} make a number worse")


if __name__ == "__main__":
    sys.exit(main())
