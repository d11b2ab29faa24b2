#!/bin/bash
# Measures a list of dies as a job array on a Slurm cluster, then joins the shards into one report.
#
#   submit.sh RECIPE.toml WORK SHARDS [option of sbatch ..]
#
# WORK is a folder on a file system that all nodes see. It will hold the shards' journals (WORK/shards),
# the jobs' messages (WORK/messages) and the report (WORK/report). Options such as --partition=..,
# --time=.. and --cpus-per-task=.. are for both jobs. FOURPHASE names the command if it is not on the
# path; POINTS=parquet adds the tables of all points to the report.
#
# Given again with the same WORK and SHARDS, after a failure, it measures only what is missing.
set -euo pipefail
if [ $# -lt 3 ]; then
    sed -n '2,/^set/s/^# \{0,1\}//p' "$0" | head -n -1 >&2
    exit 2
fi
scripts=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
recipe=$(realpath "$1") shards=$3
mkdir -p "$2/shards" "$2/messages"
work=$(realpath "$2")
shift 3
export FOURPHASE=${FOURPHASE:-fourphase} POINTS=${POINTS:-}

measure=$(sbatch --parsable "$@" --array="1-$shards" --output="$work/messages/shard-%a.txt" \
    "$scripts/measure.sbatch" "$recipe" "$work" "$shards")
# Joined once every shard is complete; after a failed one, never.
combine=$(sbatch --parsable "$@" --dependency="afterok:${measure%%;*}" --kill-on-invalid-dep=yes \
    --output="$work/messages/combine.txt" "$scripts/combine.sbatch" "$recipe" "$work" "$shards")
echo "${measure%%;*} ${combine%%;*}"
