#!/bin/sh
# Runs the browser tests: run.sh SOURCE_DIR BINARY_DIR, with KEELBLOCK in the environment.
#
# Exit code 77, with the reason, where node, npm or chromium are not installed, or npm has no
# network. The one package that drives the browser is taken from the registry as package-lock.json
# names it, once a build.
set -eu
source=$1
work=$2

skip() {
    echo "skipped: $*"
    exit 77
}

command -v node >/dev/null || skip "node is not installed (scripts/setup build test)"
command -v npm >/dev/null || skip "npm is not installed (scripts/setup build test)"
CHROMIUM=$(command -v chromium) || skip "chromium is not installed (scripts/setup build test)"
export CHROMIUM

mkdir -p "$work"
cp "$source"/*.mjs "$source/package.json" "$source/package-lock.json" "$work/"
cd "$work"
if ! cmp -s package-lock.json installed; then
    npm ci --no-audit --no-fund --ignore-scripts --loglevel=error ||
        skip "npm could not fetch the package that drives the browser (is the registry in reach?)"
    cp package-lock.json installed
fi

rm -rf run
mkdir run
KB_BROWSER_WORK=$work/run
export KB_BROWSER_WORK
node --test safe.mjs review.mjs keyboard.mjs
