#!/usr/bin/env bash
# Loads the demo's report, card and page in headless Chromium (Debian's package) and checks them. Works as root or with sudo.
# With a folder as argument, screenshots and print-outs are left there.
set -euo pipefail
cd "$(dirname "$0")"
needed=()
[ -x /usr/bin/chromium ] || needed+=(chromium)
command -v node >/dev/null || needed+=(nodejs)
command -v npm >/dev/null || needed+=(npm)
if [ ${#needed[@]} -gt 0 ]; then
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq
    DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends "${needed[@]}" >/dev/null
fi
[ -d node_modules/axe-core ] && [ -d node_modules/playwright-core ] || npm ci --silent --no-audit --no-fund
bash ../../host-cli/page-wasm/build.sh
# In the form that the tests are built in: any other compiles everything anew.
(cd ../.. && cargo test --workspace --no-run --quiet)
landfall=${CARGO_TARGET_DIR:-../../target}/debug/landfall
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
# Exit code 1 only says that the demo is outside a limit.
allow() { "$@" || [ $? -eq 1 ]; }
allow "$landfall" plan --demo --samples 20000 --format json --report "$folder/report.html" --output "$folder/plan.json"
allow "$landfall" card --demo --samples 20000 --output "$folder/card.html"
allow "$landfall" progress --demo --report "$folder/landings.html" --output "$folder/landings.txt"
node check.mjs "$folder" "${1:-}"

# Reports of varied sites with few runs each, some in feet, and cards of every kind.
mkdir "$folder/sites"
for like in small big hill; do "$landfall" new --like $like --output "$folder/$like.toml" >/dev/null; done
for site in "$folder"/{small,big,hill}.toml ../reference/sites/*[124578]_*.toml; do
    name=$(basename "$site" .toml)
    case $name in
    hill | 1*) sed 's/^\[site\]$/[site]\nunits = "imperial"\ngauge = "inH2O"/' "$site" >"$folder/feet.toml" && site=$folder/feet.toml ;;
    esac
    allow "$landfall" plan "$site" --samples 2000 --report "$folder/sites/$name.html" --output "$folder/plan.txt" --force
    case $name in
    small | hill | 02* | 11* | 14* | 31* | 38*) allow "$landfall" card "$site" --samples 2000 --output "$folder/sites/$name.card.html" ;;
    esac
done
site=../reference/sites/39_mixed_crowd.toml
allow "$landfall" plan "$site" --samples 2000 --report "$folder/sites/groups.html" --output "$folder/plan.txt" --force
allow "$landfall" card "$site" --samples 2000 --output "$folder/sites/groups.card.html"
mkdir -p "${1:-$folder}/sites"
node sites.mjs "$folder/sites" "${1:+$1/sites}"

# The page that is one file: its module by itself, then in the browser.
module=${CARGO_TARGET_DIR:-../../target}/page-wasm/landfall-page.wasm
node same.mjs "$module" "$landfall" ../reference/sites/0[1-8]*.toml
"$landfall" page --demo --output "$folder/page.html"
allow "$landfall" plan --demo --format json --output "$folder/plan.json"
node page.mjs "$folder" "$landfall" "${1:-}"

# Marks, pressures and counts as they stand on its screen, at varied sites.
sed 's/^\[site\]$/[site]\nunits = "imperial"\ngauge = "inH2O"/' ../../host-cli/plan/src/site/demo.toml >"$folder/feet.toml"
grep -v '^area = ' ../../host-cli/plan/src/site/demo.toml >"$folder/unmeasured.toml"
sed 's/^vent_area = .*/vent_area = "3000 cm2"/' ../../host-cli/plan/src/site/demo.toml >"$folder/soft.toml"
{
    sed 's/^gap = "0.8 m"$/gap = "0.6 m"/' ../../host-cli/plan/src/site/demo.toml
    printf '\n[[group]]\nname = "new"\nstart_height = "5.8 m"\nmass = "72 kg"\nlightest = "64 kg"\nheaviest = "84 kg"\n'
    printf '\n[[group]]\nname = "practised"\nmass = "80 kg"\nlightest = "64 kg"\nheaviest = "95 kg"\n'
} >"$folder/crews.toml"
node voice.mjs "$folder" "$landfall" "${1:-}" "$folder"/{feet,unmeasured,soft,small,hill,crews}.toml \
    ../reference/sites/{14,31,39,41}_*.toml

# The page behind the local server: the demo with fewer runs, so that a busy machine keeps up.
{
    cat ../../host-cli/plan/src/site/demo.toml
    printf '\n[spread]\nsamples = 4000\n'
} >"$folder/site.toml"
allow "$landfall" plan "$folder/site.toml" --format json --output "$folder/site.json"
node serve.mjs "$landfall" "$folder" "${1:-}"
