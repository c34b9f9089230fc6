#!/bin/bash
# What a memory limit per task does to a show with hostile shots: Slurm on loopback checks copies of the demo show as an array
# of jobs whose tasks may each have so much address space and no more (Slurm's VSizeFactor makes it of the job's memory).
# One shot in three of the parts needs more than that: each is to fail alone.
#
# Needs root and Debian's slurmctld, slurmd, slurm-client and munge, and python. Arguments: the program; how many copies of the
# demo show (6); in how many parts (6); MiB a task (1536).
# Everything is made in a temporary folder, which is named at the end; only processes started here are ended.
set -euo pipefail
program=$(realpath "$1") copies=${2:-6} parts=${3:-6} limit=${4:-1536}
here=$(realpath "$(dirname "$0")")
top=$(mktemp -d /tmp/plateproof-farm.XXXXXX)
cd "$top"

# shellcheck source=slurm_on_loopback.sh
source "$here/slurm_on_loopback.sh"

# The show, and three shots with a hostile mirror frame.
copies_of_the_demo "$program" "$copies"
python3 - "$here/../../benches" <<'PYTHON'
import json, os, shutil, sys

sys.path.insert(0, sys.argv[1])
from memory_table import exr, png

copy = os.path.join("shots", sorted(os.listdir("shots"))[0])
source = os.path.join(copy, sorted(name for name in os.listdir(copy) if os.path.isdir(os.path.join(copy, name)))[0])
hostile = [("wide.exr", exr(100_000_000, 1)), ("zeros.exr", exr(16384, 16384)), ("large.png", png(12000, 12000))]
for number, (name, data) in enumerate(hostile):
    folder = os.path.join(copy, f"HOSTILE_{number}")
    shutil.copytree(source, folder)
    open(os.path.join(folder, name), "wb").write(data)
    path = os.path.join(folder, "shot.json")
    sheet = json.load(open(path))
    sheet["shot"] = f"HOSTILE_{number}"
    sheet["mirrors"] = [{"name": "m1", "bracket": [name]}]
    os.remove(path)
    json.dump(sheet, open(path, "w"))
    print(f"hostile: {name}, {len(data)} bytes")
PYTHON
shots=$(find shots -name shot.json | wc -l)
echo "shots: $shots"

start_farm "CPUs=2 RealMemory=$((2 * limit))" "SelectTypeParameters=CR_CPU_Memory
VSizeFactor=100" ferry1

start=$SECONDS
job=$(sbatch --parsable --array="1-$parts" --mem="$limit" --output="$top/log/part.%a.txt" \
    --export="SHOTS=$top/shots,REPORTS=$top/reports,PLATEPROOF=$program" "$here/parts.sbatch")
until [ -z "$(squeue -h -j "$job" 2> /dev/null)" ]; do sleep 1; done
echo "at $((SECONDS - start)) s: the array is done, with $(find reports -name '*.report.json' | wc -l) reports of $shots"

# What came of it.
scontrol -o show job "$job" | grep -o "ArrayTaskId=[0-9]*\|JobState=[A-Z]*\|ExitCode=[0-9:]*" | paste - - - | sort
grep -h " shots: " log/part.*.txt
grep -h "^error" log/part.*.txt || true
echo "files under temporary names: $(find reports -name '.plateproof-*' | wc -l)"
status=0
"$program" summary reports > summary.txt || status=$?
echo "summary ends with $status: $(grep -h ' shots: ' summary.txt | head -1)"
echo "everything is in $top"
