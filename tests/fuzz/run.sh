#!/bin/sh
# Runs fuzz targets one after another on the seeds and the committed corpus; what crashes is kept in .build/fuzz/found.
# Closes with the count of targets that found nothing, and of those that did. With `smoke` instead of seconds each
# target runs a fixed number of inputs, the same ones every time: what `make test` does, a minute for all of them.
# usage: run.sh SECONDS|smoke TARGET...
set -u
cd "$(dirname "$0")/../.."
seconds=$1
shift
work=.build/fuzz/work
mkdir -p "$work" .build/fuzz/found
rm -rf "$work/seeds"
sh tests/fuzz/seeds.sh .build/release/underfoot .build/scenes samples "$work/seeds" || exit 1
export ASAN_OPTIONS=allocator_may_return_null=1:detect_leaks=1 UBSAN_OPTIONS=print_stacktrace=1
export LSAN_OPTIONS="suppressions=$PWD/tests/leaks.supp:print_suppressions=0" OMP_NUM_THREADS=1
# Some seven seconds each. Without the comparisons that libFuzzer watches, whose addresses differ from run to run.
smoke_runs() {
    case $1 in
    metadata) echo 4500 ;;
    splice) echo 5000 ;;
    rewrite) echo 20000 ;;
    picture) echo 25000 ;;
    sidecar | journal) echo 50000 ;;
    *) echo 35000 ;;
    esac
}
passed=0
failed=0
for target in "$@"; do
    found="$work/$target"
    limit="-max_total_time=$seconds -timeout=20"
    if [ "$seconds" = smoke ]; then # nothing of earlier runs comes in
        found="$work/smoke"
        limit="-seed=1 -use_cmp=0 -runs=$(smoke_runs "$target") -timeout=300"
        rm -rf "$found"
    fi
    mkdir -p "$found"
    folders="$found $work/seeds/$target"
    [ -d "tests/fuzz/corpus/$target" ] && folders="$folders tests/fuzz/corpus/$target"
    # shellcheck disable=SC2086
    if .build/fuzz/fuzz_$target $limit -rss_limit_mb=2048 -max_len=65536 \
        -artifact_prefix=".build/fuzz/found/$target-" $folders >"$work/$target.log" 2>&1; then
        passed=$((passed + 1))
        echo "fuzz $target: $(grep -c . "$work/$target.log") lines, $(tail -n 1 "$work/$target.log")"
    else
        failed=$((failed + 1))
        tail -n 60 "$work/$target.log"
        echo "fuzz $target: FAILED; see .build/fuzz/found/ and $work/$target.log"
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
