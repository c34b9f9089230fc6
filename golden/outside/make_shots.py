"""Makes the outside test bench: photographed mirror spheres on film sets, with CG spheres and truth. See README.md."""

import argparse
import json
import shutil
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path

import numpy as np

import recipe as recipes


def arguments():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the shots")
    parser.add_argument("--half", choices=("work", "report", "smoke", "practice"), required=True)
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--to", type=int, default=120, help="one past the last shot")
    parser.add_argument("--jobs", type=int, default=1, help="shots at a time, one thread each; 1 = one shot on all cores")
    parser.add_argument("--again", action="store_true", help="also make shots that are complete")
    return parser.parse_args()


def plain(value):
    """What JSON can hold."""
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [plain(v) for v in value]
    if isinstance(value, (np.floating, float)):
        return round(float(value), 6)
    return int(value) if isinstance(value, np.integer) else bool(value) if isinstance(value, np.bool_) else value


def write_json(path, content):
    path.write_text(json.dumps(plain(content), indent=1) + "\n")


def make_one(task):
    half, index, out, threads, again = task
    import render
    if threads:
        render.use_threads(threads)
    recipe = recipes.draw(half, index)
    folder = out / recipe.name
    if (folder / "truth.json").exists() and not again:
        return recipe.name, 0.0
    for left_over in out.glob(f"part_{recipe.name}_*"):
        shutil.rmtree(left_over, ignore_errors=True)
    began = time.time()
    with tempfile.TemporaryDirectory() as geometry:
        part = Path(tempfile.mkdtemp(prefix=f"part_{recipe.name}_", dir=out))
        import practice
        import shot
        (practice if half == "practice" else shot).make(recipe, Path(geometry), part)
    shutil.rmtree(folder, ignore_errors=True)
    part.chmod(0o755)
    part.rename(folder)
    return recipe.name, time.time() - began


def make_guarded(task):
    try:
        return make_one(task)
    except Exception as error:
        import traceback
        return f"{task[0]}_{task[1]:03d} FAILED {error}\n{traceback.format_exc()}", 0.0


def write_manifest(out):
    shots = []
    for path in sorted(out.glob("*_[0-9][0-9][0-9]*/truth.json")):
        known = json.loads(path.read_text())
        shots.append({"folder": path.parent.name, "half": known["half"], "classes": known["classes"], "cg_error": known["cg"]["error"]["kind"]})
    part = out / "part_manifest.json"
    write_json(part, {"shots": shots})
    part.rename(out / "manifest.json")


def main():
    options = arguments()
    options.out.mkdir(parents=True, exist_ok=True)
    last = min(options.to, recipes.HALVES[options.half][0])
    tasks = [(options.half, i, options.out, 1 if options.jobs > 1 else 0, options.again) for i in range(options.first, last)]
    with get_context("spawn").Pool(options.jobs, maxtasksperchild=12) as pool:
        for name, seconds in pool.imap_unordered(make_guarded, tasks):
            if seconds or "FAILED" in name:
                print(f"{name} {seconds:.1f} s", flush=True)
            write_manifest(options.out)


if __name__ == "__main__":
    main()
