#!/usr/bin/env python3
"""Compares counted work with what was last landed.

usage: counts.py LANDED CHANGELOG MEASURED [--write]

LANDED and MEASURED hold lines `name = count`. A count that has grown by more than 5 % fails, unless the changelog
has a line under Unreleased that names it (`name`) together with the new count. With --write the measured counts
take the place of the landed ones, under the same rule.
"""
import re
import sys


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
    unreleased = changelog.split("## Unreleased", 1)[-1].split("\n## ", 1)[0]
    failed = []
    for name, was in landed.items():
        if name not in measured:
            failed.append(f"{name} was not counted")
            continue
        now = measured[name]
        print(f"--    {name} = {now} ({100.0 * (now - was) / max(was, 1):+.1f} % since it was landed)")
        told = any(f"`{name}`" in line and re.search(rf"\b{now}\b", line.replace(",", "")) for line in unreleased.splitlines())
        if now > 1.05 * was and not told:
            failed.append(f"{name} has grown from {was} to {now}; an entry in the changelog must name it and the new count")
    for name in measured.keys() - landed.keys():
        print(f"--    {name} = {measured[name]} (new)")
        if "--write" not in sys.argv:
            failed.append(f"{name} was never landed; counts.py --write lands it")
    for why in failed:
        print(f"      {why}")
    if "--write" in sys.argv and not [why for why in failed if "grown" in why]:
        head = [line for line in open(landed_path, encoding="utf-8") if line.startswith("#")]
        with open(landed_path, "w", encoding="utf-8") as out:
            out.writelines(head + [f"{name} = {count}\n" for name, count in sorted(measured.items())])
        return 0
    return 1 if failed else 0


sys.exit(main())
