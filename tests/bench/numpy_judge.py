"""Peak, snug crossing and final angle of the pulls that `cargo bench -p evendraw-tests --bench judge -- --write FILE` left.

    pip install numpy
    python tests/bench/numpy_judge.py FILE

Whole arrays at once, as one would write it: no wind-up, no shape, no cue, no re-grip; what the core does beyond that has no
counterpart here.
"""
import sys
import time

import numpy as np


def read(path):
    with open(path, "rb") as file:
        count, pulls = np.fromfile(file, "<u8", 2)
        micros = np.fromfile(file, "<u8", count)
        torque = np.fromfile(file, "<i4", count)
        rotation = np.fromfile(file, "<i4", count)
        ends = np.fromfile(file, "<u8", pulls)
        targets = np.fromfile(file, "<i4", pulls)
    return micros, torque, rotation, ends, targets


def judge(torque, rotation, ends, targets):
    """Each pull apart: its arrays are slices, so nothing is copied."""
    accepted, begin = 0, 0
    for end, target in zip(ends, targets):
        pull, angle = torque[begin:end], rotation[begin:end]
        top = int(pull.argmax())
        peak = pull[top]
        snug = int((pull >= target // 10).argmax())
        turned = angle[top] - angle[snug]
        accepted += bool(0.9 * target <= peak <= 1.1 * target and turned > 0)
        begin = end
    return accepted


def main():
    micros, torque, rotation, ends, targets = read(sys.argv[1])
    times = []
    for _ in range(9):
        began = time.perf_counter()
        accepted = judge(torque, rotation, ends, targets)
        times.append(time.perf_counter() - began)
    took = sorted(times)[len(times) // 2]
    print(f"numpy {np.__version__}: {accepted} of {len(ends)} accepted")
    print(f"{took * 1e9 / len(micros):.2f} ns a sample, {len(micros) / took / 1e6:.1f} million a second")


main()
