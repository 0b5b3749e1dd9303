#!/usr/bin/env python3
"""Compares counted work with what was last landed.

usage: counts.py LANDED CHANGELOG MEASURED [--write]

LANDED and MEASURED hold lines `name = count`. A count more than 5 % above the landed one fails, unless the changelog
has under its newest version a line that begins with "- `name`: COUNT" and the measured count is within 5 % of that COUNT. With
--write the measured counts take the place of the landed ones, under the same rule.
"""
import re
import sys

MOST = 1.05


def counts(path):
    found = {}
    for line in open(path, encoding="utf-8"):
        m = re.match(r"\s*([a-z0-9_]+)\s*=\s*([0-9_]+)\s*(#.*)?$", line)
        if m:
            found[m[1]] = int(m[2].replace("_", ""))
    return found


def main():
    landed_path, changelog_path, measured_path = sys.argv[1:4]
    landed, measured = counts(landed_path), counts(measured_path)
    changelog = open(changelog_path, encoding="utf-8").read()
    newest = changelog.split("\n## ", 2)[1]
    entries = re.findall(r"^- `([a-z0-9_]+)`: ([0-9,]+)", newest, re.M)
    told = {name: int(count.replace(",", "")) for name, count in entries}
    write = "--write" in sys.argv
    failed = []
    for name, was in landed.items():
        if name not in measured:
            failed.append(f"{name} was not counted")
            continue
        now = measured[name]
        print(f"--    {name} = {now:,} ({100.0 * (now - was) / max(was, 1):+.2f} % since it was landed)")
        if now > MOST * max(was, told.get(name, 0)):
            failed.append(f"{name} has grown from {was:,} to {now:,}; a line of the changelog must say - `{name}`: {now:,}")
    for name in measured.keys() - landed.keys():
        print(f"--    {name} = {measured[name]:,} (new)")
        if not write:
            failed.append(f"{name} was never landed; --write lands it")
    for why in failed:
        print(f"      {why}")
    if write and not any("has grown" in why for why in failed):
        head = [line for line in open(landed_path, encoding="utf-8") if line.startswith("#")]
        with open(landed_path, "w", encoding="utf-8") as out:
            out.writelines(head + [f"{name} = {count}\n" for name, count in sorted(measured.items())])
        return 0
    return 1 if failed else 0


sys.exit(main())
