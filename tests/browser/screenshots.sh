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

# The report's side view, and the card. Exit code 1 only says that the demo is outside a limit.
allow() { "$@" || [ $? -eq 1 ]; }
allow "$landfall" plan --demo --report "$folder/report.html" --output "$folder/plan.txt"
allow "$landfall" card --demo --output "$folder/card.html"
node screenshots.mjs side "$folder/report.html" ../../docs/side-view.png
node screenshots.mjs card "$folder/card.html" ../../docs/card.png
