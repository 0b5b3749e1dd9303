#!/usr/bin/env bash
# Makes the pictures of the README from the demo into docs/. Needs what run.sh needs, and the command built with the
# page's module: bash host-cli/page-wasm/build.sh && cargo build
set -euo pipefail
cd "$(dirname "$0")"
landfall=${CARGO_TARGET_DIR:-../../target}/debug/landfall
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir -p ../../docs

# The page to try values on.
"$landfall" page --demo --output "$folder/page.html"
node screenshots.mjs page "$folder/page.html" ../../docs/page.png
