#!/bin/bash
# Starts a Slurm of one host for tests, with an authentication service of its own: nothing outside
# FOLDER is written, and other Slurms on the host are not disturbed.
#
#   start-slurm.sh start FOLDER    FOLDER/slurm.conf is the SLURM_CONF to use
#   start-slurm.sh stop FOLDER     ends all that was started
#
# Needs root, and Debian's slurm-wlm and munge.
set -euo pipefail
action=$1
folder=$(mkdir -p "$2" && cd "$2" && pwd)
export SLURM_CONF="$folder/slurm.conf"

# A free port of this host, other than those that were drawn before.
free_port() {
    local port
    while :; do
        port=$((20000 + RANDOM % 30000))
        if ! (exec 3<> "/dev/tcp/127.0.0.1/$port") 2> /dev/null && [ "$port" != "${1:-}" ]; then
            echo "$port"
            return
        fi
    done
}

write_configuration() {
    local host controller node
    host=$(hostname -s)
    controller=$(free_port)
    node=$(free_port "$controller")
    mkdir -p "$folder/state" "$folder/spool"
    cat > "$folder/slurm.conf" << CONF
ClusterName=test
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=$controller
SlurmdPort=$node
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=$folder/munge.socket,cred_expire=5
CredType=cred/munge
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
StateSaveLocation=$folder/state
SlurmdSpoolDir=$folder/spool
SlurmctldPidFile=$folder/slurmctld.pid
SlurmdPidFile=$folder/slurmd.pid
SlurmctldLogFile=$folder/slurmctld.log
SlurmdLogFile=$folder/slurmd.log
SchedulerType=sched/builtin
SchedulerParameters=sched_min_interval=100000,sched_interval=1
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
JobRequeue=1
KillWait=1
MailProg=/bin/true
ReturnToService=2
NodeName=$host NodeAddr=127.0.0.1 CPUs=${CPUS:-2} State=UNKNOWN
PartitionName=all Nodes=ALL Default=YES MaxTime=INFINITE State=UP
CONF
}

start() {
    write_configuration
    dd if=/dev/urandom of="$folder/munge.key" bs=64 count=1 status=none
    chmod 400 "$folder/munge.key"
    munged --force --key-file="$folder/munge.key" --socket="$folder/munge.socket" \
        --pid-file="$folder/munge.pid" --log-file="$folder/munge.log" \
        --seed-file="$folder/munge.seed"
    slurmctld
    slurmd
    for _ in $(seq 300); do
        if sinfo --noheader --format %t 2> /dev/null | grep -q idle; then
            return
        fi
        sleep 0.1
    done
    echo "Slurm did not start:" >&2
    tail -n 20 "$folder"/*.log >&2
    return 1
}

stop() {
    # Jobs that still run would outlive the daemons.
    timeout 10 scancel --user=root --signal=KILL --full 2> /dev/null || true
    timeout 10 scancel --user=root 2> /dev/null || true
    local name pid
    for name in slurmd slurmctld munge; do
        pid=$(cat "$folder/$name.pid" 2> /dev/null) || continue
        kill "$pid" 2> /dev/null || continue
        for _ in $(seq 100); do
            kill -0 "$pid" 2> /dev/null || break
            sleep 0.1
        done
        kill -KILL "$pid" 2> /dev/null || true
    done
}

case $action in
    start) start || { stop; exit 1; } ;;
    stop) stop ;;
    *) echo "usage: start-slurm.sh start|stop FOLDER" >&2; exit 2 ;;
esac
