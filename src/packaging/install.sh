#!/bin/sh
# Installs what has been built: program, libraries, headers, manual pages, completions, guide, samples.
# usage: install.sh BUILD VERSION ABI DESTDIR PREFIX LIBDIR     (from the project's top folder)
set -eu
build=$1 version=$2 abi=$3 root=$4 prefix=$5 libdir=$6
share=$root$prefix/share
manual=$build/manual

put() { install -Dm"$1" "$2" "$3"; }
# print FILE ARGUMENT...: what the manual tool prints, as a file
print() {
    file=$1
    shift
    mkdir -p "$(dirname "$file")"
    "$manual" "$@" >"$file"
    chmod 644 "$file"
}

put 755 "$build/underfoot" "$root$prefix/bin/underfoot"

put 644 "$build/libunderfoot.a" "$root$libdir/libunderfoot.a"
put 644 "$build/libunderfoot.so.$version" "$root$libdir/libunderfoot.so.$version"
ln -sf "libunderfoot.so.$version" "$root$libdir/libunderfoot.so.$abi"
ln -sf "libunderfoot.so.$abi" "$root$libdir/libunderfoot.so"
mkdir -p "$root$prefix/include/underfoot" "$root$libdir/pkgconfig"
install -m644 include/underfoot/*.h "$root$prefix/include/underfoot/"
sed -e "s|@PREFIX@|$prefix|" -e "s|@LIBDIR@|$libdir|" -e "s|@VERSION@|$version|" src/packaging/underfoot.pc.in \
    >"$root$libdir/pkgconfig/underfoot.pc"
chmod 644 "$root$libdir/pkgconfig/underfoot.pc"

print "$share/man/man1/underfoot.1" man
for command in $("$manual" commands); do
    print "$share/man/man1/underfoot-$command.1" man "$command"
done
print "$share/bash-completion/completions/underfoot" bash
print "$share/zsh/vendor-completions/_underfoot" zsh
print "$share/fish/vendor_completions.d/underfoot.fish" fish

doc=$share/doc/underfoot
mkdir -p "$doc/guide" "$doc/samples"
install -m644 README.md LICENSE "$doc/"
install -m644 docs/* "$doc/guide/"
install -m644 samples/*.ini samples/library/* "$doc/samples/"

echo "installed underfoot $version into $root$prefix"
case ":$PATH:" in
*":$prefix/bin:"*) ;;
*) [ -n "$root" ] || echo "the shell does not look into $prefix/bin yet: export PATH=\"$prefix/bin:\$PATH\"" ;;
esac
