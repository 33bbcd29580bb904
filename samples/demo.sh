#!/bin/sh
# Makes the sample tour, covers the tripod in it four ways, and says where to look.
# usage: demo.sh PROGRAM SCENE [WIDTH]
set -eu
program=$1
scene=$2
width=${3:-4096}
out=samples/out
shots=$out/as-shot
done=$out/patched
look=$out/straight-down
mkdir -p "$shots" "$done" "$look"

say() { printf '\n%s\n' "$*"; }
run() {
    echo "  \$ underfoot $*"
    status=0
    "$program" "$@" --overwrite --quiet >/dev/null || status=$?
    # 2 is 'done with warnings'
    [ "$status" -eq 0 ] || [ "$status" -eq 2 ] || exit "$status"
}
down() { run view "$1" -o "$2" --pitch -90 --fov 90 --size 1024x1024; }

say "The sample tour: three spots of an invented museum, as shot and without hardware, rendered now (some minutes)"
"$scene" --out "$shots" --width "$width" --plate

say "Ticket hall (JPEG): the tiled floor is rebuilt"
run patch "$shots/ticket-hall.jpg" -o "$done/ticket-hall.jpg" --cap 25 --fill floor
say "The same hall: a photograph of the bare floor, taken by hand, is laid where the tripod stood"
run patch "$shots/ticket-hall.jpg" -o "$done/ticket-hall-plate.jpg" --cap 25 --plate "$shots/ticket-hall-floor.jpg"
say "Workshop (16-bit TIFF): the floor is rebuilt, and the museum's emblem lies on it"
run patch "$shots/workshop.tif" -o "$done/workshop.tif" --cap 25 --fill floor \
    --logo "$shots/emblem.png" --logo-cap 18 --heading 0
say "Yard in the sun (JPEG): the cap from the rig, the shadow from time and place; the cobbles are rebuilt"
run patch "$shots/yard.jpg" -o "$done/yard.jpg" --rig samples/yard.ini --sun clock

say "Straight down, before and after"
for spot in ticket-hall.jpg workshop.tif yard.jpg; do
    down "$shots/$spot" "$look/${spot%.*}-before.png"
done
for spot in ticket-hall.jpg ticket-hall-plate.jpg workshop.tif yard.jpg; do
    down "$done/$spot" "$look/${spot%.*}-after.png"
done

say "All of them by a job sheet, at night: patched, tagged, a view and a copy for the web of each, and a page"
echo "  \$ underfoot tour samples/tour.ini --review $out/morning.html"
status=0
"$program" tour samples/tour.ini --overwrite --review "$out/morning.html" || status=$?
[ "$status" -eq 0 ] || [ "$status" -eq 2 ] || exit "$status"

say "Done. Look at"
line() { printf '  %-48s %s\n' "$1" "$2"; }
line "$out/morning.html" "the morning's review of the tour, in a browser"
line "$look/*-{before,after}.png" "what lies under the camera, before and after"
line "$done/" "the patched panoramas"
line "$shots/*-truth.*" "what was really there"
line docs/first-patch.md "your own first patch"
