#!/usr/bin/env python3
"""Runs each command of docs/guide/README.md and puts its output below it; with --check fails where one has changed.

usage: guide.py LANDFALL [--check]

A line `<!-- run: COMMAND -->` is followed by the command and what it printed, as a block. All commands of the page run one after
the other in one new folder, which begins with the guide's site file and its measurements.
"""
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent
GUIDE = ROOT / "docs" / "guide" / "README.md"
MEASURED = {"water.csv": "demo_water.csv", "sand.csv": "demo_sand.csv", "off.csv": "demo_deflation.csv"}
MARK = re.compile(r"(<!-- run: (.*?) -->)(?:\n\n?```text\n.*?\n```)?", re.S)


def main():
    program, check = pathlib.Path(sys.argv[1]).resolve(), "--check" in sys.argv
    before = GUIDE.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        at = pathlib.Path(folder)
        for name in ["alder-flat.toml", "runs.csv", "ground.toml", "tricks.csv"]:
            shutil.copy(ROOT / "docs" / "guide" / name, at)
        for name, source in MEASURED.items():
            shutil.copy(ROOT / "host-cli" / "learn" / "src" / source, at / name)
        (at / "bin").mkdir()
        (at / "bin" / "landfall").symlink_to(program)
        environment = {**os.environ, "PATH": f"{at / 'bin'}:{os.environ['PATH']}", "NO_COLOR": "1"}
        environment.pop("COLUMNS", None)

        def put(found):
            # A reader that has enough lines ends a command early: that is no failure.
            done = subprocess.run(
                ["bash", "-c", found[2]], cwd=at, env=environment, text=True, capture_output=True, check=False
            )
            errors = [line for line in done.stderr.splitlines() if line.startswith("error")]
            if errors:
                sys.exit(f"{found[2]}: {errors[0]}")
            shown = "\n".join(line.rstrip() for line in done.stdout.rstrip("\n").split("\n"))
            command = found[2].split(" | ")[0]
            return f"{found[1]}\n```text\n$ {command}\n{shown}\n```"

        after = MARK.sub(put, before)
    if check:
        if after != before:
            sys.exit("docs/guide/README.md: an output has changed; run tests/readme.sh and look at the difference")
    else:
        GUIDE.write_text(after, encoding="utf-8")


main()
