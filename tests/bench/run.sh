#!/usr/bin/env bash
# Times the sampler against Numba, SciPy and NumPy on the same sites at the same accuracy, prints the ratios and draws
# the plots. A few minutes on two cores. The Python environment is made in target/ on the first run.
#     bash tests/bench/run.sh           # all
#     bash tests/bench/run.sh --quick   # fewer rounds, no plots
#     bash tests/bench/run.sh --plots   # the plots alone
set -euo pipefail
cd "$(dirname "$0")/../.."
env=target/bench-venv
if [ ! -x "$env/bin/python" ] || ! cmp -s tests/bench/requirements.txt "$env/requirements.txt"; then
    python3 -m venv --clear "$env"
    "$env/bin/pip" install --quiet --disable-pip-version-check --requirement tests/bench/requirements.txt
    cp tests/bench/requirements.txt "$env/requirements.txt"
fi
cargo build --release --quiet --package landfall-bench
unset OPENBLAS_CORETYPE
exec "$env/bin/python" tests/bench/run.py "$@"
