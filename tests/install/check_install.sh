#!/bin/sh
# The installed tree and the package, as their users meet them.
#   check_install.sh SOURCE BUILD CC
set -eu
source=$(cd "$1" && pwd) build=$(cd "$2" && pwd) cc=$3
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
prefix=$folder/usr
cd "$folder"

fail() {
    echo "check_install: $*" >&2
    exit 1
}
expect() { # expect FILE: it was installed
    [ -e "$prefix/$1" ] || fail "$1 was not installed"
}

cmake --install "$build" --prefix "$prefix" >install.log || fail "cmake --install failed"
expect bin/keelblock
expect include/keelblock/keelblock.h
expect include/keelblock/version.h
expect share/man/man1/keelblock.1.gz
expect share/bash-completion/completions/keelblock
expect share/doc/keelblock/copyright
expect share/keelblock/limits/ductile-iron.ini
library=$(find "$prefix" -name 'libkeelblock.so.[0-9]' -print)
[ -n "$library" ] || fail "no libkeelblock.so with its interface number"

# Only the interface is visible.
stray=$(nm -D --defined-only "$library" | awk '$2 != "A" && $3 !~ /^kb_/ { print $3 }')
[ -z "$stray" ] || fail "the library shows names that are not its interface: $stray"

# Every declared function is there: what a header promises can be linked.
cat "$prefix"/include/keelblock/*.h | tr '\n' ' ' | grep -o 'KB_API[^;(]*(' |
    sed -n 's/.*[ *]\(kb_[a-z0-9_]*\)($/\1/p' | sort -u >promised
nm -D --defined-only "$library" | awk '{ sub("@.*", "", $3); print $3 }' | sort -u >given
lacking=$(comm -23 promised given | tr '\n' ' ')
[ -s promised ] || fail "found no declarations in the installed headers"
[ -z "$lacking" ] || fail "headers declare what the library lacks: $lacking"

# The program, from its installed place.
version=$("$prefix/bin/keelblock" --version)
"$prefix/bin/keelblock" render --quiet --seed 3 --size 1024x768 -o fields ||
    fail "keelblock render failed"
truth=$(sed -n 's/^ *"graphite": *\(0[.][0-9]*\).*/\1/p' fields/field-01.truth.json | head -n 1)
[ -n "$truth" ] || fail "the truth of the rendered field has no graphite fraction"

# A program of two statements against the installed library.
PKG_CONFIG_PATH=$(dirname "$(find "$prefix" -name keelblock.pc)")
export PKG_CONFIG_PATH
case $version in *"$(pkg-config --modversion keelblock)"*) ;; *)
    fail "pkg-config and the program differ in version: $version" ;;
esac
# shellcheck disable=SC2046
"$cc" -std=c17 -Wall -Wextra -Werror "$source/tests/install/consumer.c" -o consumer \
    $(pkg-config --cflags --libs keelblock) || fail "the consumer does not compile"
measured=$(LD_LIBRARY_PATH=$(dirname "$library") ./consumer fields/field-01.tif) ||
    fail "the consumer could not measure"
awk -v a="$measured" -v b="$truth" 'BEGIN { exit !(a - b < 0.02 && b - a < 0.02) }' ||
    fail "the consumer measured $measured graphite where $truth was drawn"

# The manual page, without a word from the formatter.
if command -v man >/dev/null; then
    MANWIDTH=80 MANROFFSEQ='' LC_ALL=C.UTF-8 man --warnings=w -l \
        "$prefix/share/man/man1/keelblock.1.gz" >page.txt 2>warnings.txt ||
        fail "man cannot show the page: $(cat warnings.txt)"
    [ ! -s warnings.txt ] || fail "the manual page has faults: $(cat warnings.txt)"
    for word in NAME measure render --pixel-size; do
        grep -q -e "$word" page.txt || fail "the manual page does not mention $word"
    done
fi

# The completion, in a real bash.
bash -euc '. "$1"; complete -p keelblock' bash \
    "$prefix/share/bash-completion/completions/keelblock" >completion.txt 2>&1 ||
    fail "the completion does not load: $(cat completion.txt)"
bash -uc '. "$1"; COMP_WORDS=(keelblock mea); COMP_CWORD=1
    function=$(complete -p keelblock | sed "s/.*-F \([^ ]*\).*/\1/"); COMP_LINE="keelblock mea"
    COMP_POINT=13; "$function" keelblock mea keelblock; printf "%s\n" "${COMPREPLY[@]}"' bash \
    "$prefix/share/bash-completion/completions/keelblock" >completion.txt 2>&1 || true
grep -qx 'measure *' completion.txt ||
    fail "'keelblock mea' is not completed: $(cat completion.txt)"

# The package.
if command -v dpkg-shlibdeps >/dev/null; then
    cpack -G DEB --config "$build/CPackConfig.cmake" -B "$folder/package" >package.log 2>&1 ||
        fail "cpack failed: $(tail -n 5 package.log)"
    package=$(find package -maxdepth 1 -name '*.deb')
    dpkg-deb -I "$package" >control.txt
    for needed in libc6 libtiff libpng16 libjpeg libgsl libexpat libinih libjansson libnettle; do
        grep -q "^ Depends:.*$needed" control.txt || fail "the package does not depend on $needed"
    done
    dpkg-deb -c "$package" >contents.txt
    for file in bin/keelblock include/keelblock/keelblock.h share/man/man1/keelblock.1.gz \
        share/bash-completion/completions/keelblock share/doc/keelblock/copyright; do
        grep -q " \./usr/$file\$" contents.txt || fail "the package lacks usr/$file"
    done
    grep -q 'libkeelblock\.so\.' contents.txt || fail "the package lacks the library"
    dpkg-deb --fsys-tarfile "$package" | tar -xO --wildcards '*/keelblock.pc' >package.pc
    grep -qx 'prefix=/usr' package.pc ||
        fail "the package's pkg-config file names another prefix than /usr"
fi
echo "installed, linked, measured $measured for $truth drawn, packaged"
