"""What a show costs that has not changed: time and peak memory of `check`, `summary`, `--trend` and the overview.

    unchanged_show.py PROGRAM SHOT_FOLDER [SHOTS] [VERSIONS] [CHECKED] [FOLDER]

SHOT_FOLDER holds one shot.json and its frames, for example golden/path_traced/sf_010_all_match. It is laid out CHECKED times
under names of its own, each time with links to the same frames, and checked once, without pictures; then it is checked again
with nothing changed. `summary` reads reports alone, so for it SHOTS x VERSIONS reports are written from those by this script,
with numbers that move from version to version: checking them all would take hours. Every command gives a row of a Markdown
table: seconds, processor seconds, milliseconds a shot, peak of the resident memory. FOLDER keeps what was laid out; without it
a temporary folder is used. Linux only; standard library only.
"""

import json
import os
import subprocess
import sys
import tempfile
import time

SETTLED_S = 60


def lay_out(source, shots, root):
    sheet = json.load(open(os.path.join(source, "shot.json")))
    frames = [name for name in os.listdir(source) if name.endswith((".exr", ".jpg", ".png"))]
    then = time.time() - SETTLED_S
    for number in range(shots):
        folder = os.path.join(root, "shots", f"{number:05}")
        os.makedirs(folder)
        for name in frames:
            os.symlink(os.path.abspath(os.path.join(source, name)), os.path.join(folder, name))
        path = os.path.join(folder, "shot.json")
        with open(path, "w") as file:
            json.dump({**sheet, "shot": f"SF_{number:05}"}, file)
        os.utime(path, (then, then))


def template(report, verdict):
    """A report as text, with places for shot, version and the error of its exposure."""
    report = {**report, "shot": "@SHOT@", "version": "@VERSION@", "verdict": verdict}
    of_exposure = {"value": "@VALUE@", "verdict": verdict}
    findings = [{**each, **of_exposure} if each["check"] == "exposure" else each for each in report["findings"]]
    return json.dumps({**report, "findings": findings}, indent=2, ensure_ascii=False)


def many_reports(checked, out, shots, versions):
    os.makedirs(out)
    names = sorted(name for name in os.listdir(checked) if name.endswith(".report.json"))[:shots]
    sources = [json.load(open(os.path.join(checked, name))) for name in names]
    templates = [{verdict: template(each, verdict) for verdict in ("match", "mismatch")} for each in sources]
    for number in range(shots):
        shot = f"SF_{number:05}"
        for version in range(1, versions + 1):
            name = f"v{version:03}"
            off = (2.0 - 2.0 * version / versions) * (1 if number % 3 else -1)
            text = templates[number % len(templates)]["mismatch" if abs(off) > 0.25 else "match"]
            text = text.replace("@SHOT@", shot).replace("@VERSION@", name).replace('"@VALUE@"', repr(off))
            with open(os.path.join(out, f"{shot}.{name}.report.json"), "w") as file:
                file.write(text)


def settle(out):
    then = time.time() - SETTLED_S
    for name in os.listdir(out):
        os.utime(os.path.join(out, name), (then, then))


def run(words, listing):
    begun = time.time()
    process = subprocess.Popen(words, stdout=open(listing, "w"), stderr=subprocess.STDOUT)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return time.time() - begun, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, process.returncode


def measure(program, source, shots, versions, checked, root):
    out, many = os.path.join(root, "reports"), os.path.join(root, "many")
    listing = os.path.join(root, "listing.txt")
    check = [program, "check", os.path.join(root, "shots"), "--out", out, "--no-picture"]
    if not os.path.isdir(out):
        lay_out(source, checked, root)
        seconds, *_ = run(check, listing)
        print(f"the first check took {seconds:.0f} s", file=sys.stderr)
        settle(out)
    if not os.path.isdir(many):
        many_reports(out, many, shots, versions)
    trust = [*check, "--trust-times"]
    commands = [
        ("`check`, nothing changed", check, checked),
        ("`check --trust-times`, for the first time", trust, checked),
        ("`check --trust-times`, nothing changed", trust, checked),
        ("`summary`", [program, "summary", many], shots),
        ("`summary --trend`", [program, "summary", many, "--trend"], shots),
        ("`summary --trend --shot SF_00000`", [program, "summary", many, "--trend", "--shot", "SF_00000"], shots),
        ("`summary --overview`", [program, "summary", many, "--overview", os.path.join(root, "overview")], shots),
    ]
    print("| command | shots | seconds | processor seconds | processor ms a shot | peak, MiB | exit status |")
    print("|---|---|---|---|---|---|---|")
    for name, words, count in commands:
        seconds, processor, peak, status = run(words, listing)
        each = 1000.0 * processor / count
        row = f"| {name} | {count} | {seconds:.2f} | {processor:.2f} | {each:.2f} | {peak:.0f} | {status} |"
        print(row, flush=True)


def main():
    program, source = os.path.abspath(sys.argv[1]), sys.argv[2]
    shots, versions, checked = ([int(word) for word in sys.argv[3:6]] + [1000, 40, 100][len(sys.argv[3:6]) :])[:3]
    if len(sys.argv) > 6:
        os.makedirs(sys.argv[6], exist_ok=True)
        return measure(program, source, shots, versions, checked, sys.argv[6])
    with tempfile.TemporaryDirectory() as root:
        measure(program, source, shots, versions, checked, root)


if __name__ == "__main__":
    main()
