#!/bin/sh
# Makes three Debian packages from what has been built: the program, the shared library, and what is needed to
# compile against it. dpkg-shlibdeps finds what they depend on.
# usage: deb.sh BUILD VERSION ABI FOLDER     (from the project's top folder; FOLDER takes the packages)
set -eu
build=$1 version=$2 abi=$3 folder=$4
work=$folder/deb
machine=$(dpkg-architecture -qDEB_HOST_ARCH)
libdir=/usr/lib/$(dpkg-architecture -qDEB_HOST_MULTIARCH)
maintainer="underfoot authors <underfoot@localhost>"

rm -rf "$work"
mkdir -p "$work/all" "$work/debian"
sh src/packaging/install.sh "$build" "$version" "$abi" "$work/all" /usr "$libdir" >/dev/null
# dpkg-shlibdeps wants a source package to stand in
printf 'Source: underfoot\nMaintainer: %s\n\nPackage: underfoot\nArchitecture: any\n' "$maintainer" >"$work/debian/control"

# move PACKAGE PATH...: from the whole installation into a package
move() {
    package=$1
    shift
    for path in "$@"; do
        mkdir -p "$work/$package/$(dirname "$path")"
        mv "$work/all/$path" "$work/$package/$path"
    done
}
needs() {
    (cd "$work" && dpkg-shlibdeps -O --ignore-missing-info "$1" 2>/dev/null) | sed 's/^shlibs:Depends=//'
}
# package NAME SECTION DEPENDS SUMMARY TEXT
package() {
    root=$work/$1
    mkdir -p "$root/DEBIAN" "$root/usr/share/doc/$1"
    install -m644 LICENSE "$root/usr/share/doc/$1/copyright"
    cat >"$root/DEBIAN/control" <<END
Package: $1
Version: $version
Architecture: $machine
Section: $2
Priority: optional
Maintainer: $maintainer
Installed-Size: $(du -sk "$root" | cut -f1)
Depends: $3
Description: $4
 $5
END
    (cd "$root" && find usr -type f -print0 | sort -z | xargs -0 md5sum) >"$root/DEBIAN/md5sums"
    dpkg-deb --root-owner-group --build "$root" "$folder/$1_${version}_$machine.deb" >/dev/null
    echo "$folder/$1_${version}_$machine.deb"
}

strip --strip-unneeded "$work/all/usr/bin/underfoot" "$work/all$libdir/libunderfoot.so.$version"
gzip -9n "$work"/all/usr/share/man/man1/*.1
move "libunderfoot$abi" "$libdir/libunderfoot.so.$version" "$libdir/libunderfoot.so.$abi"
printf 'libunderfoot %s libunderfoot%s (>= %s)\n' "$abi" "$abi" "$version" >"$work/shlibs"
move libunderfoot-dev "$libdir/libunderfoot.so" "$libdir/libunderfoot.a" "$libdir/pkgconfig" usr/include
mkdir -p "$work/underfoot"
mv "$work/all/usr" "$work/underfoot/usr"
rm -rf "$work/underfoot/usr/lib"

package underfoot graphics "$(needs underfoot/usr/bin/underfoot)" \
    "covers the tripod in full spherical panoramas" \
    "Plans coverage, rebuilds the floor under the camera, takes views out for retouching and brings them home."
mkdir -p "$work/libunderfoot$abi/DEBIAN"
mv "$work/shlibs" "$work/libunderfoot$abi/DEBIAN/shlibs"
package "libunderfoot$abi" libs "$(needs "libunderfoot$abi$libdir/libunderfoot.so.$version")" \
    "library behind underfoot" "Work on 2:1 equirectangular pictures; what the program underfoot does."
package libunderfoot-dev libdevel "libunderfoot$abi (= $version), libjpeg-dev, libpng-dev, zlib1g-dev, libtiff-dev, \
liblcms2-dev, libexempi-dev, libexpat1-dev, libexif-dev, libfftw3-dev, libinih-dev" \
    "library behind underfoot, for compiling" "Headers, static library and pkg-config file."
rm -rf "$work"
