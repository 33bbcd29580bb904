#!/bin/sh
# Runs every test program, plain and sanitized, a minute of fuzzing where its targets were built, and closes with the
# count of all of them. Arguments: the builds to run (default: release asan, and the fuzz targets).
set -u
cd "$(dirname "$0")/.."
fuzz=""
if [ $# -eq 0 ]; then
    set -- release asan
    fuzz=$(ls .build/fuzz/fuzz_* 2>/dev/null | sed 's/.*fuzz_//')
fi
passed=0
failed=0
log=$(mktemp)
trap 'rm -f "$log"' EXIT
export ASAN_OPTIONS="detect_leaks=1:allocator_may_return_null=1:abort_on_error=0:${ASAN_OPTIONS:-}"
# spinning threads of many test processes at once only steal each other's time
export OMP_WAIT_POLICY=passive
export UBSAN_OPTIONS="print_stacktrace=1:halt_on_error=1"
export LSAN_OPTIONS="suppressions=$PWD/tests/leaks.supp:print_suppressions=0"
for build in "$@"; do
    for program in .build/"$build"/tests/*_tests; do
        echo "== $build $(basename "$program")"
        UF_BUILD_DIR="$PWD/.build/$build" "$program" >"$log" 2>&1
        status=$?
        cat "$log"
        count=$(sed -n 's/.*Synthesis: Tested: \([0-9]*\) | Passing: \([0-9]*\) .*/\1 \2/p' "$log" | sed 's/\x1b\[[0-9;]*m//g' | tail -n 1)
        if [ -z "$count" ]; then
            echo "$program gave no count (status $status)"
            failed=$((failed + 1))
            continue
        fi
        tested=${count% *}
        passing=${count#* }
        passed=$((passed + passing))
        failed=$((failed + tested - passing))
        if [ "$status" -ne 0 ] && [ "$tested" -eq "$passing" ]; then
            echo "$program ended with status $status"
            failed=$((failed + 1))
        fi
    done
done
if [ -n "$fuzz" ]; then
    echo "== fuzz targets, the same inputs every time"
    # shellcheck disable=SC2086
    sh tests/fuzz/run.sh smoke $fuzz >"$log" 2>&1
    cat "$log"
    count=$(sed -n 's/^\([0-9]*\) passed, \([0-9]*\) failed$/\1 \2/p' "$log" | tail -n 1)
    [ -n "$count" ] || count="0 1"
    passed=$((passed + ${count% *}))
    failed=$((failed + ${count#* }))
fi
if [ "$((passed + failed))" -eq 0 ]; then
    failed=1
fi
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
