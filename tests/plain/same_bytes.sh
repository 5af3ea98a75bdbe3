#!/bin/sh
# same_bytes.sh SEEN_WIDE SEEN_PLAIN KEELBLOCK SOURCES - fields through both builds of the stages;
# what they see must agree to the last bit. Drawn and real fields of each contrast, one large enough
# that statistics are taken from some rows only.
set -eu
wide=$1
plain=$2
program=$3
sources=$4
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
"$program" render --quiet -o "$folder" --size 2500x2100 --pixel-size 0.5um
set -- "$folder"/*.tif "$sources"/tests/data/*/*.tif "$sources"/tests/data/*/*.jpg \
    "$sources"/demo/batches/ladle-41/*/*.tif
"$wide" "$@" > "$folder/wide.txt"
"$plain" "$@" > "$folder/plain.txt"
test "$(grep -c segmented "$folder/wide.txt")" -ge 10 # of which most must have been measured
diff "$folder/wide.txt" "$folder/plain.txt"
