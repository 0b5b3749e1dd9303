#!/usr/bin/env python3
"""Worst-case stack of a bare-metal Arm image.

usage: stack.py IMAGE ROOT [INTERRUPT ...] [--ram BYTES] [--budget BYTES] [--guessed]

Frame sizes come from the section .stack_sizes (rustc -Z emit-stack-sizes), the calls from the
disassembly. The bound is the deepest path from ROOT plus, for each interrupt, its deepest path and 32
bytes of saved registers: right where interrupts do not nest in themselves. A function without a stated
frame (assembly) is taken by its own push and sub instructions. Recursion and calls through pointers
make a bound impossible and are errors.
"""
import argparse
import re
import struct
import subprocess
import sys
import tempfile

PREFIX = "arm-none-eabi-"
BRANCHES = {"b", "beq", "bne", "bcc", "bcs", "bhi", "bls", "bge", "blt", "bgt", "ble", "bmi", "bpl", "bvs", "bvc", "cbz", "cbnz"}


def run(*command):
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def symbols(image):
    """Address to name, and every name (aliases too) to address."""
    names, places = {}, {}
    for line in run(PREFIX + "nm", image).splitlines():
        m = re.match(r"([0-9a-f]{8}) ([tTwWdD]) (\S+)", line)
        if m and not m[3].startswith("$"):
            names.setdefault(int(m[1], 16) & ~1, m[3])
            places[m[3]] = int(m[1], 16) & ~1
    return names, places


def readable(image):
    """Address to a name that a person can read: paths without types' parameters."""
    found = {}
    for line in run(PREFIX + "nm", "-C", image).splitlines():
        m = re.match(r"([0-9a-f]{8}) [tTwW] (.+)", line)
        if m and not m[2].startswith("$"):
            name = m[2]
            while "<" in name and name != (name := re.sub(r"(\w)(::)?<[^<>]*>", r"\1", name)):
                pass
            found.setdefault(int(m[1], 16) & ~1, re.sub(r"<([^<>]*)>", r"\1", name))
    return found


def frames(image):
    with tempfile.NamedTemporaryFile() as out:
        run(PREFIX + "objcopy", "-O", "binary", "--only-section=.stack_sizes", "--set-section-flags", ".stack_sizes=alloc", image, out.name)
        data = open(out.name, "rb").read()
    sizes, at = {}, 0
    while at + 4 < len(data):
        (address,) = struct.unpack_from("<I", data, at)
        at += 4
        value = shift = 0
        while True:
            byte = data[at]
            at += 1
            value |= (byte & 0x7F) << shift
            shift += 7
            if not byte & 0x80:
                break
        if address:
            sizes[address & ~1] = value
    return sizes


def registers(text):
    """Number of registers in {r4, r5-r7, lr}."""
    count = 0
    for part in re.findall(r"[a-z]+\d*(?:-[a-z]+\d+)?", text):
        first, _, last = part.partition("-")
        count += int(last[1:]) - int(first[1:]) + 1 if last else 1
    return count


def calls(image, places):
    graph, indirect, own, current = {}, {}, {}, None
    for line in run(PREFIX + "objdump", "-d", "--no-show-raw-insn", image).splitlines():
        m = re.match(r"([0-9a-f]{8}) <(.+)>:", line)
        if m:
            current = int(m[1], 16)
            graph.setdefault(current, set())
            own.setdefault(current, 0)
            continue
        m = re.match(r"\s*[0-9a-f]+:\s+(\S+)\s*(.*)", line)
        if not m or current is None:
            continue
        op, arguments = m[1].split(".")[0], m[2]
        target = re.search(r"\b([0-9a-f]{6,8}) <([^>+]+)(\+0x[0-9a-f]+)?>", arguments)
        if op == "push":
            own[current] += 4 * registers(arguments)
        elif op == "sub" and arguments.startswith("sp, #"):
            own[current] += int(arguments.split("#")[1].split()[0], 0)
        inside = target and target[3]
        if inside and op in ("bl", "b") and places.get(target[2]) != current:
            sys.exit(f"stack: a jump into the middle of another function: {line}")
        if inside:  # a long jump within the function: Armv6-M uses bl for these as well
            pass
        elif op in ("bl", "blx") and target:
            graph[current].add(int(target[1], 16) & ~1)
        elif op in BRANCHES and target and int(target[1], 16) & ~1 != current:
            graph[current].add(int(target[1], 16) & ~1)
        elif op == "blx" or (op == "bx" and not re.match(r"lr\b", arguments)):
            indirect.setdefault(current, []).append(line.strip())
    return graph, indirect, own


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("image")
    parser.add_argument("roots", nargs="+")
    parser.add_argument("--static", type=int, default=0, help="bytes of static RAM, for the sum")
    parser.add_argument("--budget", type=int, default=0, help="most bytes of static RAM and stack")
    parser.add_argument("--guessed", action="store_true", help="name the functions without a stated frame")
    parser.add_argument("--ram", type=int, default=0, help="bytes of RAM there are")
    a = parser.parse_args()
    names, by_name = symbols(a.image)
    told = readable(a.image)
    size = frames(a.image)
    graph, indirect, own = calls(a.image, by_name)
    # Far jumps the linker put in between pass on to the function that their name ends in.
    for name, address in by_name.items():
        m = re.match(r"__Thumbv\w+?LongThunk_(.+)", name)
        if m:
            graph.setdefault(address, set()).add(by_name[m[1]])
            indirect.pop(address, None)
    known, guessed = {}, set()

    def frame(f):
        if f not in size:
            guessed.add(f)
        return size.get(f, own.get(f, 0))

    def deepest(f, path=()):
        if f in path:
            sys.exit("stack: recursion: " + " > ".join(names.get(x, hex(x)) for x in (*path, f)))
        if f not in known:
            below = max((deepest(c, (*path, f)) for c in graph.get(f, ())), default=(0, ()))
            known[f] = (frame(f) + below[0], (f, *below[1]))
        return known[f]

    total = 0
    for root in a.roots:
        if root not in by_name:
            sys.exit(f"stack: no function {root}")
        depth, path = deepest(by_name[root])
        total += depth + (32 if root != a.roots[0] else 0)
        print(f"stack: {root} {depth} bytes")
        for f in path:
            print(f"stack:   {frame(f):5d} {told.get(f, names.get(f, hex(f)))}")
    bad = {names.get(f, hex(f)): lines for f, lines in indirect.items() if f in known}
    for name, lines in bad.items():
        print(f"stack: call through a pointer in {name}: {lines}")
    guesses = sorted(told.get(f, names.get(f, hex(f))) for f in guessed if f in known)
    print(f"stack: without a stated frame, taken by their instructions: {len(guesses)} functions; --guessed names them")
    if a.guessed:
        print("stack:   " + "\nstack:   ".join(guesses))
    whole = total + a.static
    print(f"stack: worst case {total} bytes, static {a.static} bytes, together {whole}, of {a.ram} bytes of RAM; budget {a.budget}")
    if bad or (a.budget and whole > a.budget):
        sys.exit(1)


main()
