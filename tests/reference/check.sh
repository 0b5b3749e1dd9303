#!/usr/bin/env bash
# Recomputes the reference solutions with the pinned packages and compares them with the committed files.
# The Python environment is made in target/ on the first run.
#     bash tests/reference/check.sh            # what is made from other inputs than the committed (expected/inputs.sha256)
#     bash tests/reference/check.sh --all      # everything: some twenty minutes of one core
#     bash tests/reference/check.sh 07 pieces  # only some of them, changed or not
set -euo pipefail
cd "$(dirname "$0")"
env=../../target/reference-venv
if [ ! -x "$env/bin/python" ] || ! cmp -s requirements.txt "$env/requirements.txt"; then
    python3 -m venv --clear "$env"
    "$env/bin/pip" install --quiet --disable-pip-version-check --requirement requirements.txt
    cp requirements.txt "$env/requirements.txt"
fi
case "${1-}" in
"") changed=--changed ;;
--all) changed= ;;
*) exec "$env/bin/python" make_reference.py --check "$@" ;;
esac
"$env/bin/python" make_reference.py --check $changed
"$env/bin/python" fit_reference.py --check $changed
"$env/bin/python" air_fixtures.py --check
"$env/bin/python" landing_shapes.py --check
"$env/bin/python" line_reference.py --check
