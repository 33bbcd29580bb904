#!/bin/sh
# Seeds for the fuzz targets: small valid files of every kind, made by the program, by libjpeg-turbo's and by
# libtiff's tools.
# usage: seeds.sh PROGRAM SCENES SAMPLES FOLDER
set -eu
program=$1 scenes=$2 samples=$3 out=$4
mkdir -p "$out/picture" "$out/rewrite" "$out/metadata" "$out/rig" "$out/sidecar" "$out/sheet" "$out/journal" "$out/splice"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
underfoot() { "$program" "$@" --quiet >/dev/null || [ $? -eq 2 ]; }

# A panorama of 64 x 32, by way of a view: the sphere itself does not matter here.
underfoot view "$scenes/ticket-hall.jpg" -o "$work/rgb8.png" --size 64x32 --fov 90
underfoot view "$scenes/workshop.tif" -o "$work/rgb16.png" --size 64x32 --fov 90 --depth 16
underfoot view "$scenes/workshop.tif" -o "$work/rgb16.tif" --size 64x32 --fov 90 --depth 16
underfoot view "$scenes/ticket-hall.jpg" -o "$work/rgb8.tif" --size 64x32 --fov 90
underfoot view "$scenes/ticket-hall.jpg" -o "$work/view.jpg" --size 64x32 --fov 90
# high enough to be told of while they are read
for kind in jpg png tif; do
    underfoot view "$scenes/ticket-hall.jpg" -o "$work/high.$kind" --size 8x160 --fov 10
done
djpeg -pnm "$work/view.jpg" >"$work/rgb.ppm"
djpeg -grayscale -pnm "$work/view.jpg" >"$work/grey.pgm"
for sampling in 1x1 2x1 2x2 1x2 4x1; do
    cjpeg -quality 85 -sample "$sampling" "$work/rgb.ppm" >"$work/$sampling.jpg"
done
cjpeg -quality 60 -optimize -restart 3B "$work/rgb.ppm" >"$work/restarts.jpg"
cjpeg -quality 85 -progressive "$work/rgb.ppm" >"$work/progressive.jpg"
cjpeg -quality 85 -arithmetic "$work/rgb.ppm" >"$work/arithmetic.jpg"
cjpeg -quality 85 "$work/grey.pgm" >"$work/grey.jpg"
tiffcp -c lzw:2 "$work/rgb8.tif" "$work/lzw.tif"
tiffcp -c zip -t -w 16 -l 16 "$work/rgb8.tif" "$work/tiles.tif"
tiffcp -c none -8 "$work/rgb16.tif" "$work/big.tif"
tiffcp -c none -p separate -B "$work/rgb8.tif" "$work/planes.tif"

# As they are for the readers; behind a byte for the corner for the rewriter.
for file in "$work"/*.jpg "$work"/*.png "$work"/*.tif; do
    cp "$file" "$out/picture/"
    for corner in 0 3; do
        { printf "$corner"; cat "$file"; } >"$out/rewrite/$corner-$(basename "$file")"
    done
done

# Behind four bytes for the rows that are read and the part of them that changes.
for file in "$work"/*.jpg; do
    { printf '\0\50\0\120'; cat "$file"; } >"$out/splice/top-$(basename "$file")"
    { printf '\200\377\100\377'; cat "$file"; } >"$out/splice/low-$(basename "$file")"
done

# Blocks of metadata behind the byte that says which kind: what the sample tour and our own addresses carry.
for file in "$scenes/yard.jpg" "$work/view.jpg"; do
    name=$(basename "$file" .jpg)
    { printf '\0'; exiftool -b -exif "$file"; } >"$out/metadata/exif-$name"
    { printf '\1'; exiftool -b -xmp "$file"; } >"$out/metadata/xmp-$name"
    { printf '\2'; exiftool -b -icc_profile "$file"; } >"$out/metadata/icc-$name"
done

cp "$samples"/*.ini "$out/rig/"
for file in "$work"/*.home*; do
    [ -e "$file" ] && cp "$file" "$out/sidecar/"
done

# The demo's sheet, and one with the other kinds of sections; its rigs are not there, or there as in the target.
cp "$samples/tour.ini" "$out/sheet/"
cat >"$out/sheet/all.ini" <<'SHEET'
[tour]
jobs = 2
threads = 4
max-memory = 500M
[turn]
heading = 30
[patch]
cap = 25
fill = floor
[tag]
heading = 214.5
level = yes
[faces cube]
size = 64
format = png
[view down]
pitch = -90
fov = 100
size = 64x48
[planet little]
size = 64
[deliver web]
width = 32
quality = 85
[panorama hall*]
patch.cap = auto
cube.skip = yes
[panorama yard.tif]
skip = no
down.fov =
SHEET

# Records of a journal without their checksums, which the target puts in; one that says its own.
digest=0123456789abcdef0123456789abcdef
{
    printf 'underfoot tour journal\t1\n'
    printf 'made\ta.jpg\t%s\t1.250\t1000000\tdone\t1\ta.jpg\t77\t%s\t{\\n  "cap_deg": 20\\n}\\n\tone\\ntwo\n' "$digest" "$digest"
    printf 'made\tb\\tc\\\\\t%s\t0.000\t0\tfailed\t0\t\tis damaged\n' "$digest"
    printf 'made\tcube/b.tif\t%s\t90.000\t42\tdone\t2\tcube/b.tif/up.png\t7\t%s\tcube/b.tif/down.png\t18446744073709551615\t%s\t\t\n' \
        "$digest" "$digest" "$digest"
    printf '!0123456789abcdef\tmade\n'
} >"$out/journal/records.txt"
