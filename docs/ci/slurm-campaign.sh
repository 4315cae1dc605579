#!/usr/bin/env bash
# A campaign as a Slurm job array: one task for each share, and a job that merges the shares
# when all are done.
#
# Copy this file, set the variables below (here or in the environment), and run it where you
# submit jobs:
#
#   ./slurm-campaign.sh
#
# Every share keeps its results in a folder of its own. If a task is killed and requeued (by a
# node that fails, by preemption, by `scontrol requeue`), it goes on after the last results
# that are in the folder. If a task failed or ran out of time, run this file again: shares
# that are complete end at once, the others go on.
#
# What a task and the merge job ask of the cluster; add partition and account if you need them.
#SBATCH --job-name=shaftbook
#SBATCH --requeue
#SBATCH --open-mode=append
#SBATCH --nodes=1
#SBATCH --ntasks=1
#SBATCH --cpus-per-task=1
#SBATCH --time=08:00:00
set -euo pipefail

# The campaign; its scenarios must be where it names them, on every node.
CAMPAIGN=${CAMPAIGN:-$PWD/nightly.toml}
# How many shares, which is how many tasks the array has.
SHARES=${SHARES:-8}
# A folder that all nodes share; the merged results are in its folder `whole`.
RESULTS=${RESULTS:-$PWD/campaign-results}
# The program: a path that all nodes share, or a name in the PATH. The same build everywhere.
SHAFTBOOK=${SHAFTBOOK:-shaftbook}

# Run by hand: submits the array, and the merge that waits for it.
submit() {
    local array merge
    mkdir -p "$RESULTS"
    # Slurm hands the environment on to the jobs.
    export CAMPAIGN SHARES RESULTS SHAFTBOOK
    array=$(sbatch --parsable --array="1-$SHARES" --output="$RESULTS/part-%a.log" "$0" share)
    array=${array%%;*} # without the cluster's name
    # If a task fails, the merge is cancelled; without that it would wait for ever.
    merge=$(sbatch --parsable --dependency="afterok:$array" --kill-on-invalid-dep=yes \
        --output="$RESULTS/merge.log" "$0" merge)
    echo "array $array, merge ${merge%%;*}"
}

# One task of the array: its share, from the start or from where it was killed.
share() {
    local status=0 number=$SLURM_ARRAY_TASK_ID
    "$SHAFTBOOK" campaign "$CAMPAIGN" --shard "$number/$SHARES" \
        --threads "${SLURM_CPUS_PER_TASK:-1}" --out "$RESULTS/part-$number" || status=$?
    # 1: a run failed, and the share is complete. That must not keep the merge from being made,
    # which then fails with the whole report.
    [ "$status" -eq 1 ] || exit "$status"
}

# The merge: a share that is missing or not complete is named, and nothing is written.
merge() {
    local number parts=()
    for ((number = 1; number <= SHARES; number++)); do
        parts+=("$RESULTS/part-$number")
    done
    exec "$SHAFTBOOK" merge "${parts[@]}" --campaign "$CAMPAIGN" --out "$RESULTS/whole"
}

case ${1:-submit} in
submit | share | merge) "${1:-submit}" ;;
*)
    echo "slurm-campaign: \"$1\" is not known; run it without an argument" >&2
    exit 2
    ;;
esac
