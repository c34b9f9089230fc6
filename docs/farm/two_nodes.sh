#!/bin/bash
# A farm of two nodes on one machine: Slurm on loopback checks many copies of the demo show as an array of jobs, one node
# dies in the middle, its task goes back into the queue, and the summary merges all parts.
#
# Needs root and Debian's slurmctld, slurmd, slurm-client and munge. Arguments: the program; how many copies of the demo
# show (40); in how many parts (16).
# Everything is made in a temporary folder, which is named at the end; only processes started here are ended.
set -euo pipefail
program=$(realpath "$1") copies=${2:-40} parts=${3:-16}
here=$(realpath "$(dirname "$0")")
top=$(mktemp -d /tmp/plateproof-farm.XXXXXX)
cd "$top"

# shellcheck source=slurm_on_loopback.sh
source "$here/slurm_on_loopback.sh"

# The show.
copies_of_the_demo "$program" "$copies"
echo "shots: $(ls -d shots/*/*/ | wc -l), bytes of the frames: $(du -sbl shots | cut -f1)"

# The farm.
start_farm "CPUs=1" "SelectTypeParameters=CR_CPU" ferry1 ferry2

start=$SECONDS
job=$(sbatch --parsable --array="1-$parts" --output="$top/log/part.%a.txt" \
    --export="SHOTS=$top/shots,REPORTS=$top/reports,PLATEPROOF=$program" "$here/parts.sbatch")
state() { squeue -h -j "$job" -r -o "%T" 2> /dev/null | sort | uniq -c | tr '\n' ' '; }
reports() { find reports -name '*.report.json' 2> /dev/null | wc -l; }

# The second node dies as in a power cut, once a quarter of the reports is written: its daemon, and all that it runs.
wanted=$((copies * 17 / 4))
until [ "$(reports)" -ge "$wanted" ]; do sleep 1; done
lost=$(squeue -h -j "$job" -r -w ferry2 -t running -o "%K")
# Processes come and go while they are looked through, which is no error.
of_node=$(grep -lsz '^SLURMD_NODENAME=ferry2$' /proc/[0-9]*/environ | cut -d/ -f3 || true)
steps=$(for pid in $of_node; do awk '/^PPid/ { print $2 }' "/proc/$pid/status" 2> /dev/null || true; done | sort -u)
for pid in $(cat slurmd.ferry2.pid) $of_node $(for pid in $steps; do
    if grep -qs slurmstepd "/proc/$pid/cmdline"; then echo "$pid"; fi; done); do
    kill -9 "$pid" 2> /dev/null || true
done
echo "at $((SECONDS - start)) s, with $(reports) reports: ferry2 died while it ran task: $lost"
until sinfo -h -n ferry2 -o "%t" | grep -q down; do sleep 1; done
echo "at $((SECONDS - start)) s: ferry2 is $(sinfo -h -n ferry2 -o '%t'); tasks: $(state)"
sleep 5
slurmd -N ferry2
until [ -z "$(squeue -h -j "$job" 2> /dev/null)" ]; do sleep 1; done
echo "at $((SECONDS - start)) s: the array is done, with $(reports) reports"
grep -h "Requeu\|requeu\|not responding\|now responding" log/slurmctld.log | sed 's/^\[[^]]*\] //' | sort | uniq -c || true

# What came of it.
echo "files under temporary names: $(find reports -name '.plateproof-*' | wc -l)"
cat log/part.*.txt | grep -h " shots: \|unchanged" || true
status=0
"$program" summary reports > summary.txt || status=$?
echo "summary ends with $status:"
head -20 summary.txt
grep -h "shots: " demo.txt
echo "everything is in $top"
