#!/bin/sh
# A tour of 24 panoramas killed (SIGKILL) at random instants and continued each time, against one that was left alone.
# In the end both folders must hold the same bytes, and nothing unfinished may be left.
# usage: soak.sh PROGRAM SCENE FOLDER [WIDTH [KILLS [SEED]]]
set -eu
program=$1
scene=$2
folder=$3
width=${4:-2048}
kills=${5:-30}
seed=${6:-$(date +%s)}

rm -rf "$folder"
mkdir -p "$folder/scenes" "$folder/originals"
echo "24 panoramas, $width pixels wide; seed $seed"
"$scene" --out "$folder/scenes" --width "$width" >/dev/null
for spot in ticket-hall.jpg workshop.tif yard.jpg; do
    for k in 0 1 2 3 4 5 6 7; do
        "$program" turn "$folder/scenes/$spot" -o "$folder/originals/${spot%.*}-$k.${spot##*.}" --yaw $((45 * k)) --quiet >/dev/null
    done
done
cat >"$folder/tour.ini" <<INI
[tour]
input  = originals
[patch]
cap    = 25
fill   = smooth
logo   = scenes/emblem.png
logo-cap = 12
[tag]
heading = 90
[view floor]
pitch  = -90
size   = 400x400
format = jpeg
[faces down]
only   = down,front
size   = 256
[deliver web]
width  = $((width / 4 * 2))
srgb   = yes
format = jpeg
[panorama yard-?.jpg]
patch.cap = 29
INI

run() { "$program" tour "$folder/tour.ini" -o "$1" --review "$folder/page.html" --quiet; }
# what a person sees of it, with the digests of its contents
contents() { (cd "$1" && find . -path ./.underfoot -prune -o -type f -print | LC_ALL=C sort | xargs -d '\n' sha256sum); }

cp -a "$folder/originals" "$folder/originals-before"
began=$(date +%s%N)
run "$folder/left-alone"
took_ms=$((($(date +%s%N) - began) / 1000000))
echo "left alone: $took_ms ms"

killed=0
while [ "$killed" -lt "$kills" ]; do
    (exec "$program" tour "$folder/tour.ini" -o "$folder/killed" --review "$folder/page.html" --quiet) &
    tour=$!
    # up to a tenth of the whole: most of the kills meet a run at work
    sleep "$(awk -v seed="$seed" -v k="$killed" -v most="$took_ms" 'BEGIN { srand(seed + 7919 * k); printf "%.3f", rand() * most / 10000 }')"
    if kill -9 "$tour" 2>/dev/null; then
        killed=$((killed + 1))
        wait "$tour" 2>/dev/null || true
    else
        wait "$tour"
        echo "  finished between kills; started anew in an empty folder ($killed kills so far)"
        contents "$folder/left-alone" >"$folder/a"
        contents "$folder/killed" >"$folder/b"
        cmp "$folder/a" "$folder/b"
        rm -rf "$folder/killed"
    fi
done
run "$folder/killed"
contents "$folder/left-alone" >"$folder/a"
contents "$folder/killed" >"$folder/b"
cmp "$folder/a" "$folder/b"
diff -r "$folder/originals-before" "$folder/originals"
left=$(find "$folder/killed" "$folder" -maxdepth 6 \( -name '.*.uf-*' -o -path '*/.underfoot/work' -o -path '*/.underfoot/work-*' \) -print)
if [ -n "$left" ]; then
    echo "left over:"
    echo "$left"
    exit 1
fi
echo "$killed kills; $(wc -l <"$folder/a") files, all as in the run left alone, nothing left over"
