#!/bin/sh
# Turns the page's parts into a C file on standard output: bytes, and the hashes by which the page's own policy (W3C,
# Content Security Policy Level 3, hash-source) admits its one style sheet and its one script.
# usage: embed.sh FOLDER PART.js ...    (page.html and page.css are in FOLDER; the scripts are joined in the order given)
set -eu
folder=$1
shift
script() {
    echo "'use strict';"
    echo '{'
    for part in "$@"; do cat "$folder/$part"; done
    echo '}'
}
# SHA-256 in base64 (RFC 4648): three hexadecimal digits are two characters; 64 digits leave one over
hash() {
    sha256sum | awk '{
        letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
        for (i = 1; i <= 64; i += 3) {
            bits = 0
            for (j = i; j < i + 3; j++)
                bits = bits * 16 + (j <= 64 ? index("0123456789abcdef", substr($1, j, 1)) - 1 : 0)
            text = text substr(letters, int(bits / 64) + 1, 1)
            if (i + 1 <= 64)
                text = text substr(letters, bits % 64 + 1, 1)
        }
        print "sha256-" text "="
    }'
}
array() {
    echo "const unsigned char uf_page_$1[] = {"
    od -An -v -tu1 | sed 's/  *\([0-9][0-9]*\)/\1,/g'
    echo "};"
    echo "const size_t uf_page_$1_bytes = sizeof uf_page_$1;"
}
echo '#include "tour/page_parts.h"'
array html <"$folder/page.html"
array style <"$folder/page.css"
script "$@" | array script
echo "const char uf_page_style_hash[] = \"$(hash <"$folder/page.css")\";"
echo "const char uf_page_script_hash[] = \"$(script "$@" | hash)\";"
