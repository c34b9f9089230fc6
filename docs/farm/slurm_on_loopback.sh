# To be sourced: a Slurm farm on one machine, with munge on loopback and everything in the folder `$top`.
# Needs root and Debian's slurmctld, slurmd, slurm-client and munge.
#
#   start_farm "NODE-KEYS" "MORE LINES OF slurm.conf" NODE...
#
# starts nodes of these names, each with NODE-KEYS, and waits until all are idle. What was started ends with the script; the
# nodes' settings and jobs are in `$top`, nothing else on the machine is touched.

start_farm() {
    local keys=$1 more=$2 host port=16818 node
    shift 2
    nodes=("$@")
    host=$(hostname -s)
    export SLURM_CONF=$top/slurm.conf
    mkdir -p "$top/state" "$top/log"
    chmod 755 "$top"
    dd if=/dev/urandom of="$top/munge.key" bs=1024 count=1 status=none
    chmod 400 "$top/munge.key"
    munged --force --key-file="$top/munge.key" --socket="$top/munge.socket" --pid-file="$top/munge.pid" \
        --log-file="$top/log/munged.log" --seed-file="$top/munge.seed"
    cat > "$SLURM_CONF" <<CONF
ClusterName=ferry
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=16817
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=$top/munge.socket
CredType=cred/munge
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
SelectType=select/cons_tres
MpiDefault=none
SlurmctldPidFile=$top/slurmctld.pid
SlurmdPidFile=$top/slurmd.%n.pid
StateSaveLocation=$top/state
SlurmdSpoolDir=$top/spool.%n
SlurmctldLogFile=$top/log/slurmctld.log
SlurmdLogFile=$top/log/slurmd.%n.log
JobRequeue=1
ReturnToService=2
SlurmdTimeout=10
SlurmctldTimeout=30
KillWait=5
$more
PartitionName=show Nodes=ALL Default=YES MaxTime=INFINITE State=UP
CONF
    for node in "${nodes[@]}"; do
        mkdir -p "$top/spool.$node"
        echo "NodeName=$node NodeHostname=$host NodeAddr=127.0.0.1 Port=$port $keys" >> "$SLURM_CONF"
        port=$((port + 1))
    done
    trap stop_farm EXIT
    slurmctld
    for node in "${nodes[@]}"; do slurmd -N "$node"; done
    for _ in $(seq 60); do
        test "$(sinfo -h -N -t idle | wc -l)" -eq "${#nodes[@]}" && break
        sleep 1
    done
    sinfo -N -l
}

stop_farm() {
    local file
    for file in "${nodes[@]/#/$top/slurmd.}"; do kill "$(cat "$file.pid")" 2> /dev/null || true; done
    for file in slurmctld munge; do kill "$(cat "$top/$file.pid")" 2> /dev/null || true; done
}

#   copies_of_the_demo PROGRAM COPIES
#
# makes `shots/` of copies of the demo's shots under names of their own; the frames are links to one file each.

copies_of_the_demo() {
    local copy sheet
    "$1" demo --out show --no-picture > demo.txt
    rm -r show/reports
    for copy in $(seq -w "$2"); do
        mkdir -p "shots/$copy"
        cp -al show/. "shots/$copy/"
        for sheet in shots/"$copy"/*/shot.json; do
            sed "s/\"shot\": \"\([^\"]*\)\"/\"shot\": \"\1_$copy\"/" "$sheet" > sheet.tmp
            mv sheet.tmp "$sheet"
        done
    done
}
