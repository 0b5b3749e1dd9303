#!/usr/bin/env python3
"""Seals the box's program: writes its length and CRC-32 into itself, for the box to compare at each start.

usage: seal.py ELF

The place is found by its mark (boards/rp2040/src/selftest.rs): 16 bytes, then four for the length and four for the sum, which
count as FF in the sum. What is summed is the image as it lies in flash, from its first byte to its last; a hole in it, which every
way of flashing fills in its own way, is refused. Sealing a sealed program changes nothing.
"""
import struct
import sys
import zlib

MARK = b"landfall's seal\0"
ERASED = b"\xff" * 8


def pieces(elf):
    """(address in flash, place in the file, size) of what is loaded, by address."""
    offset, = struct.unpack_from("<I", elf, 28)
    size, count = struct.unpack_from("<HH", elf, 42)
    found = []
    for index in range(count):
        kind, at, _, address, in_file, _, _, _ = struct.unpack_from("<8I", elf, offset + index * size)
        if kind == 1 and in_file > 0:
            found.append((address, at, in_file))
    return sorted(found)


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    with open(sys.argv[1], "rb") as file:
        elf = bytearray(file.read())
    if elf[:6] != b"\x7fELF\x01\x01":
        sys.exit(f"{sys.argv[1]}: no 32-bit ELF file")
    image, places = bytearray(), []
    begin = None
    for address, at, size in pieces(elf):
        begin = address if begin is None else begin
        if address - begin != len(image):
            sys.exit(f"{sys.argv[1]}: a hole of {address - begin - len(image)} bytes at {address:#x}")
        places.append((len(image), at, size))
        image += elf[at:at + size]
    if image.count(MARK) != 1:
        sys.exit(f"{sys.argv[1]}: the mark of the seal is there {image.count(MARK)} times")
    seal = image.index(MARK) + len(MARK)
    image[seal:seal + 8] = ERASED
    value = struct.pack("<II", len(image), zlib.crc32(image))
    for first, at, size in places:
        for byte in range(8):
            if first <= seal + byte < first + size:
                elf[at + seal + byte - first] = value[byte]
    with open(sys.argv[1], "wb") as file:
        file.write(elf)
    print(f"sealed: {len(image)} bytes, CRC-32 {zlib.crc32(image):08x}")


main()
