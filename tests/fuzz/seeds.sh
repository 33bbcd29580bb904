#!/bin/sh
# Seeds for the fuzz targets: small valid files of every kind, made by the program, by libjpeg-turbo's and by
# libtiff's tools.
# usage: seeds.sh PROGRAM SCENES SAMPLES FOLDER
set -eu
program=$1 scenes=$2 samples=$3 out=$4
mkdir -p "$out/picture" "$out/rewrite" "$out/metadata" "$out/rig" "$out/sidecar"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
underfoot() { "$program" "$@" --quiet >/dev/null || [ $? -eq 2 ]; }

# A panorama of 64 x 32, by way of a view: the sphere itself does not matter here.
underfoot view "$scenes/ticket-hall.jpg" -o "$work/rgb8.png" --size 64x32 --fov 90
underfoot view "$scenes/workshop.tif" -o "$work/rgb16.png" --size 64x32 --fov 90 --depth 16
underfoot view "$scenes/workshop.tif" -o "$work/rgb16.tif" --size 64x32 --fov 90 --depth 16
underfoot view "$scenes/ticket-hall.jpg" -o "$work/rgb8.tif" --size 64x32 --fov 90
underfoot view "$scenes/ticket-hall.jpg" -o "$work/view.jpg" --size 64x32 --fov 90
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
