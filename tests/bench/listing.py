"""How long it takes to list a journal, and how much memory, by size: the ratio is what counts.

    python tests/bench/listing.py target/release/evendraw

Writes journals of its own after core/JOURNAL.md, with the standard library's CRC-32, and runs `record` under GNU time.
"""

import os
import re
import struct
import subprocess
import sys
import tempfile
import zlib

PROGRAM = os.path.abspath(sys.argv[1])
FIRST_SEED = 0x37A61A41


def varint(number):
    out = b""
    while True:
        low, number = number & 127, number >> 7
        if number == 0:
            return out + bytes([low])
        out += bytes([low | 128])


def frames(payloads):
    seed, out = FIRST_SEED, []
    for sequence, (kind, payload) in enumerate(payloads, 1):
        frame = struct.pack("<HBBI", len(payload), kind, 1, sequence) + payload
        seed = zlib.crc32(frame, seed)
        out.append(frame + struct.pack("<I", seed))
    return b"".join(out)


def journal(records):
    plan = b'[build]\ntitle = "listed"\n'
    name = b"listed.toml"
    opened = (128, b"\0\0" + varint(len(name)) + name + varint(len(plan)))
    text = (128, b"\1" + varint(len(plan)) + plan)
    words = b"a remark of usual length"

    def noted(seq):
        boot = 1 + seq // 50
        head = b"\0" + varint(seq) + varint(boot) + varint(seq * 1000)
        if seq % 50 == 1:
            return 11, head + varint(2 * 1_700_000_000)
        return 16, head + b"\0\0" + varint(len(words)) + words

    return frames([opened, text] + [noted(seq) for seq in range(1, records + 1)])


def measure(label, data):
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, "a.evj")
        with open(path, "wb") as file:
            file.write(data)
        ran = subprocess.run(
            ["/usr/bin/time", "-v", PROGRAM, "record", path],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    said = ran.stderr
    user, system = (float(re.search(rf"{word} time \(seconds\): ([\d.]+)", said)[1]) for word in ("User", "System"))
    memory = int(re.search(r"Maximum resident set size \(kbytes\): (\d+)", said)[1]) / 1024
    seconds = user + system
    print(f"{label:<40} {len(data) / 1e6:7.2f} MB {seconds:7.2f} s {memory:7.0f} MB")
    return seconds


before = None
for records in (10_000, 20_000, 40_000, 65_000, 130_000):
    taken = measure(f"{records:,} records", journal(records))
    if before:
        print(f"{'':<40} {taken / max(before[1], 0.01):.1f} times as long for {records / before[0]:.1f} times as many")
    before = records, taken
for megabytes in (5, 10):
    measure(f"{megabytes} MB of 00 02 behind a sound start", journal(10) + b"\0\2" * (megabytes * 500_000))
measure("10 MB of noise behind a sound start", journal(10) + os.urandom(10_000_000))
