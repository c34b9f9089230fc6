"""Peak memory of one `check` over many small shots that all succeed, as the shots go by.

    memory_slope.py PROGRAM SHOT_FOLDER [SHOTS] [JOBS]

SHOT_FOLDER holds one shot.json and its frames, for example golden/path_traced/sf_010_all_match. It is laid out SHOTS
times under names of its own, with links to the same frames, and checked in one run without pictures. While it runs, the
peak of the resident memory (VmHWM of /proc) is noted with the number of reports that are there. The slope is from a
quarter of the shots to all of them: before, the allocator is still filling its pools. Linux only; standard library only.
"""

import json
import os
import subprocess
import sys
import tempfile
import time


def lay_out(source, shots, root):
    sheet = json.load(open(os.path.join(source, "shot.json")))
    frames = [name for name in os.listdir(source) if name.endswith((".exr", ".jpg", ".png"))]
    for number in range(shots):
        folder = os.path.join(root, f"{number:05}")
        os.makedirs(folder)
        for name in frames:
            os.symlink(os.path.abspath(os.path.join(source, name)), os.path.join(folder, name))
        with open(os.path.join(folder, "shot.json"), "w") as file:
            json.dump({**sheet, "shot": f"SF_{number:05}"}, file)


def peak_kb(pid):
    try:
        with open(f"/proc/{pid}/status") as status:
            return next((int(line.split()[1]) for line in status if line.startswith("VmHWM")), None)
    except FileNotFoundError:
        return None


def reports_in(folder):
    try:
        return sum(name.endswith(".report.json") for name in os.listdir(folder))
    except FileNotFoundError:
        return 0


def main():
    program, source = sys.argv[1:3]
    shots = int(sys.argv[3]) if len(sys.argv) > 3 else 400
    jobs = sys.argv[4] if len(sys.argv) > 4 else "2"
    with tempfile.TemporaryDirectory() as root:
        lay_out(source, shots, os.path.join(root, "shots"))
        out = os.path.join(root, "reports")
        words = [program, "check", os.path.join(root, "shots"), "--out", out, "--jobs", jobs, "--no-picture"]
        # Into a file: a pipe that nobody reads would stop the program.
        listing = open(os.path.join(root, "listing.txt"), "w+")
        run = subprocess.Popen(words, stdout=listing, text=True)
        seen = []
        while run.poll() is None:
            peak, done = peak_kb(run.pid), reports_in(out)
            if peak and done and (not seen or seen[-1] != (done, peak)):
                seen.append((done, peak))
            time.sleep(0.05)
        listing.seek(0)
        text = listing.read()
        last = max(done for done, _ in seen)
        at = lambda count: next(peak for done, peak in seen if done >= min(count, last))
        marks = [shots // 8, shots // 4, shots // 2, shots]
        print(f"jobs {jobs}: " + ", ".join(f"{m} shots {at(m) / 1024:.2f} MiB" for m in marks))
        slope = (seen[-1][1] - at(marks[1])) / 1024 / (shots - marks[1]) * 1000
        print(f"slope from {marks[1]} to {shots} shots: {slope:+.2f} MiB per 1000 shots")
        print(text.strip().splitlines()[-1].replace(root, "..."))


main()
