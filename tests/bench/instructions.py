#!/usr/bin/env python3
"""Where the instructions of a reading go, function by function, on the emulated Cortex-M4; and those of the dearest input.

    cargo verify emulated          # builds the firmware
    python3 tests/bench/instructions.py [FOLDER OF THE BUILD] [MILLIONS OF BLOCKS]

The emulator writes down each block of instructions that it runs; a block counts as many as it has. An input lasts from the beginning of
`Session::apply_into` until code outside the core goes on. Takes a minute for ten million blocks.
"""

import collections
import re
import subprocess
import sys

folder = sys.argv[1] if len(sys.argv) > 1 else "target/thumbv7em-none-eabihf/firmware"
blocks = int(float(sys.argv[2]) * 1e6) if len(sys.argv) > 2 else 3_000_000
program = f"{folder}/sessions"

# What belongs to the core, and not to the bench that feeds it.
HELPERS = ("mem", "aeabi", "OUTLINED", "5ratio")
OUTSIDE = ("exercise", "8sessions", "meter", "stack")


def short(symbol):
    """`_ZN13evendraw_core7tracker7Tracker4feed17h…E` as `tracker::Tracker::feed`."""
    known = SHORT.get(symbol)
    if known is None:
        parts = re.sub(r"17h[0-9a-f]{16}E$", "", symbol)
        found, at = [], 3
        while at < len(parts) and parts[at].isdigit():
            length = re.match(r"\d+", parts[at:]).group()
            at += len(length)
            found.append(parts[at : at + int(length)])
            at += int(length)
        known = "::".join(found).replace("evendraw_core::", "") or symbol
        known = re.sub(r"_?\$LT\$.*?(\$GT\$)+", "", known).replace("::::", "::")
        SHORT[symbol] = known
    return known


SHORT = {}
command = ["qemu-system-arm", "-machine", "mps2-an386", "-nographic", "-monitor", "none", "-serial", "null"]
command += ["-semihosting-config", "enable=on,target=native", "-icount", "shift=0"]
command += ["-d", "in_asm,exec,nochain", "-D", "/dev/stderr", "-kernel", program]
emulator = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, errors="replace")

size, owner = {}, {}  # of each block, by its first address
function, listing, caller = "", None, ""
total = collections.Counter()
readings = 0
now, spent, worst, worst_spent = None, 0, None, 0
for line in emulator.stderr:
    if line.startswith("Trace"):
        at = int(line.split("/", 2)[1], 16)
        name, length = owner.get(at, ""), size.get(at, 0)
        if "apply_into" in name and now is None:
            now, spent = collections.Counter(), 0
        if now is not None and any(outside in name for outside in OUTSIDE):
            if spent > worst_spent:
                worst, worst_spent = now, spent
            total.update(now)
            readings += 1
            now = None
        if now is not None:
            # Copies and divisions are told apart by whom they are for.
            if any(helper in name for helper in HELPERS):
                name = f"{name} for {caller}"
            else:
                caller = name
            now[name] += length
            spent += length
        blocks -= 1
        if blocks <= 0:
            break
    elif line.startswith("IN:"):
        function, listing = line[3:].strip(), None
    elif line.startswith("0x"):
        at = int(line.split(":", 1)[0], 16)
        if listing is None:
            listing = at
            owner[at], size[at] = function, 0
        size[listing] += 1
emulator.kill()


def table(counts, by, least):
    for name, count in counts.most_common():
        if count / by >= least:
            print(f"{count / by:8.0f}  {' for '.join(map(short, name.split(' for ')))}")


print(f"{readings} inputs, {sum(total.values()) / max(readings, 1):.0f} instructions each")
table(total, max(readings, 1), 2)
print(f"the dearest of them, {worst_spent}")
table(worst or collections.Counter(), 1, 40)
