"""Copies of rendered smoke shots what the tests read: shot sheet, truth, CG and the sphere's frames.

    python make_shots.py --half smoke --out DIR
    python keep_smoke.py DIR

Of a bracket the shortest and the middle exposure are kept, so that all twelve stay near 10 MB; plates and surroundings are left
out. Writes into `smoke/` beside this file.
"""
import json
import shutil
import sys
from pathlib import Path

KEPT = Path(__file__).parent / "smoke"


def thinned(count):
    """The shortest and the middle exposure."""
    return list(range(count)) if count < 3 else [0, count // 2]


def keep(source, target):
    target.mkdir(parents=True)
    sheet = json.loads((source / "shot.json").read_text())
    sheet.pop("plate", None)
    mirror = sheet["mirrors"][0]
    kept = thinned(len(mirror["bracket"]))
    mirror["bracket"] = [mirror["bracket"][i] for i in kept]
    (target / "shot.json").write_text(json.dumps(sheet, indent=1) + "\n")
    truth = json.loads((source / "truth.json").read_text())
    truth["bracket"] = {key: [values[i] for i in kept] for key, values in truth["bracket"].items()}
    (target / "truth.json").write_text(json.dumps(truth, indent=1) + "\n")
    names = [exposure["frame"] for exposure in mirror["bracket"]]
    names += [sphere["frame"] for sphere in sheet["cg"]["spheres"]]
    for name in names:
        shutil.copy(source / name, target / name)


def main():
    shutil.rmtree(KEPT, ignore_errors=True)
    for source in sorted(Path(sys.argv[1]).glob("smoke_*")):
        keep(source, KEPT / source.name)


if __name__ == "__main__":
    main()
