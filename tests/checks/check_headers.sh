#!/bin/sh
# Every public header compiles alone, as C and as C++, without warnings.
#   check_headers.sh ROOT BUILD CC CXX
set -eu
root=$1 build=$2 cc=$3 cxx=$4
faults=0 seen=0
for header in "$root"/include/keelblock/*.h "$build"/include/keelblock/*.h; do
    name=keelblock/$(basename "$header")
    seen=$((seen + 1))
    for language in c c++; do
        case $language in
        c) compiler=$cc standard=-std=c17 ;;
        c++) compiler=$cxx standard=-std=c++17 ;;
        esac
        # twice, so that a missing include guard shows
        if ! printf '#include "%s"\n#include "%s"\nint none;\n' "$name" "$name" |
            "$compiler" -x "$language" "$standard" -Wall -Wextra -Wpedantic -Werror -fsyntax-only \
                -I"$root/include" -I"$build/include" -; then
            echo "$name does not stand alone as $language"
            faults=$((faults + 1))
        fi
    done
done
echo "$faults faults in $seen headers"
[ "$faults" -eq 0 ] && [ "$seen" -gt 0 ]
