"""The bill of materials, and whether it is as `deny.toml` allows.

    python3 tests/bill.py            prints all that the workspace is built from, as CycloneDX 1.5 (JSON)
    python3 tests/bill.py --check    licences, sources and doubled versions against deny.toml

Needs cargo and Python 3.11; nothing is asked of a network that cargo has not fetched already. Yanked crates and advisories
need `cargo deny check`.
"""

import json
import subprocess
import sys
import tomllib
from collections import defaultdict
from operator import and_, or_
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def packages():
    """All packages of the lock file that are part of some build, with their checksums; the workspace's own apart."""
    line = ["cargo", "metadata", "--format-version", "1", "--locked", "--all-features"]
    metadata = json.loads(subprocess.run(line, cwd=ROOT, check=True, capture_output=True, text=True).stdout)
    locked = tomllib.loads((ROOT / "Cargo.lock").read_text())["package"]
    sums = {(package["name"], package["version"]): package.get("checksum") for package in locked}
    own = set(metadata["workspace_members"])
    found = [dict(package, checksum=sums.get((package["name"], package["version"]))) for package in metadata["packages"]]
    found.sort(key=lambda package: (package["name"], package["version"]))
    return [p for p in found if p["id"] in own], [p for p in found if p["id"] not in own], metadata["resolve"]["nodes"]


def purl(package):
    return f"pkg:cargo/{package['name']}@{package['version']}"


def component(package, kind):
    """One entry of the bill."""
    out = {
        "type": kind,
        "bom-ref": purl(package),
        "name": package["name"],
        "version": package["version"],
        "purl": purl(package),
        "licenses": [{"expression": spdx(package["license"])}],
    }
    if package["checksum"]:
        out["hashes"] = [{"alg": "SHA-256", "content": package["checksum"]}]
    if package["repository"]:
        out["externalReferences"] = [{"type": "vcs", "url": package["repository"]}]
    return out


def bill():
    """The bill of materials."""
    own, others, nodes = packages()
    by_id = {package["id"]: package for package in own + others}
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {"component": {"type": "application", "name": "landfall", "version": own[0]["version"]}},
        "components": [component(p, "application") for p in own] + [component(p, "library") for p in others],
        "dependencies": [
            {"ref": purl(by_id[node["id"]]), "dependsOn": sorted({purl(by_id[other]) for other in node["dependencies"]})}
            for node in sorted(nodes, key=lambda node: purl(by_id[node["id"]]))
        ],
    }


def spdx(expression):
    """The expression as SPDX writes it today; a slash was the old way to say OR."""
    return (expression or "NOASSERTION").replace("/", " OR ").replace("  ", " ")


def is_allowed(expression, allowed):
    """Whether a licence expression can be met with the allowed ones alone."""
    words = spdx(expression).replace("(", " ( ").replace(")", " ) ").split()
    at = 0

    def one():
        nonlocal at
        if words[at] == "(":
            at += 1
            met = either()
            at += 1
            return met
        name = words[at]
        at += 1
        if at < len(words) and words[at] == "WITH":
            name = f"{name} WITH {words[at + 1]}"
            at += 2
        return name in allowed

    def chain(part, word, join):
        nonlocal at
        met = part()
        while at < len(words) and words[at] == word:
            at += 1
            met = join(part(), met)
        return met

    def either():
        return chain(lambda: chain(one, "AND", and_), "OR", or_)

    return either()


def faults():
    """Everything that is not as deny.toml allows."""
    rules = tomllib.loads((ROOT / "deny.toml").read_text())
    allowed = set(rules["licenses"]["allow"])
    more = {rule["crate"]: set(rule["allow"]) for rule in rules["licenses"]["exceptions"]}
    skipped = {rule["crate"] for rule in rules["bans"]["skip"]}
    _, others, _ = packages()
    registries = {package["source"] for package in others if (package["source"] or "").startswith("registry+")}
    if len(registries) > 1:
        yield f"more than one registry: {', '.join(sorted(registries))}"
    versions = defaultdict(list)
    for package in others:
        name = f"{package['name']} {package['version']}"
        if not is_allowed(package["license"], allowed | more.get(package["name"], set())):
            yield f"{name}: licence {package['license']}"
        if package["source"] not in registries:
            yield f"{name}: source {package['source']}"
        if not package["checksum"]:
            yield f"{name}: no checksum"
        versions[package["name"]].append(package["version"])
    for name, found in versions.items():
        known = [version for version in found if f"{name}@{version}" not in skipped]
        if len(known) > 1:
            yield f"{name}: {', '.join(known)}; one of them is enough, or is named under skip"
    there = {f"{name}@{version}" for name, found in versions.items() for version in found}
    for name in sorted(skipped - there):
        yield f"{name} is skipped and not there"


def main():
    # Rules that nothing breaks would show nothing.
    assert is_allowed("MIT/Apache-2.0", {"MIT"}) and is_allowed("(MIT OR X) AND Zlib", {"MIT", "Zlib"})
    assert not is_allowed("MPL-2.0", {"MIT"}) and not is_allowed("MIT AND X", {"MIT"})
    assert not is_allowed("Apache-2.0 WITH X", {"Apache-2.0"})
    if sys.argv[1:] == ["--check"]:
        found = list(faults())
        print("\n".join(found) if found else "licences, sources and versions are as deny.toml allows")
        return 1 if found else 0
    json.dump(bill(), sys.stdout, indent=1)
    print()
    return 0


if __name__ == "__main__":
    sys.exit(main())
