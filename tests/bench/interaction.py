"""The interaction solve of the virtual bench, done by numpy and scipy: the same joint, the same answer, the time it takes.

    pip install numpy scipy
    python tests/bench/interaction.py          times both sizes and prints the loads
    python tests/bench/interaction.py --kei    the table tests/data/kelvin_kei.csv

A plate on an elastic foundation under point loads, w(r) = -P l^2/(2 pi D) kei(r/l); each fastener adds its own spring and a
surface that closes exponentially. Newton from nothing, loads never negative.
"""
import sys
import time

import numpy as np
import scipy
import scipy.special as special


def table():
    print(f"# kei(x), Kelvin function of order zero, from scipy.special.kei {scipy.__version__}: tests/bench/interaction.py --kei")
    print("x,kei")
    points = [1e-6, 1e-3, 0.01, 0.1, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 11, 11.9, 12.1, 13, 14, 16, 18, 20, 25, 30, 40]
    for x in points:
        print(f"{float(x)!r},{float(special.kei(x))!r}")


def joint(count):
    half = count // 2
    index = np.arange(count)
    places = np.column_stack([45.0 * (index % half), 95.0 * (index // half)])
    rigidity = 70_000.0 * 25.0**3 / (12 * (1 - 0.3**2))
    reach = (rigidity / 400.0) ** 0.25
    apart = np.linalg.norm(places[:, None] - places[None], axis=2)
    parts = -(reach**2) / (2 * np.pi * rigidity) * special.kei(apart / reach)
    return parts, 0.15 + 0.01 * (index % 5)


def settle(parts, advances, own=6e-6, toe=0.012, toe_load=3000.0):
    loads = np.zeros(len(advances))
    for _ in range(60):
        gap = advances - own * loads - toe * -np.expm1(-loads / toe_load) - parts @ loads
        active = (loads > 0) | (gap > 1e-12)
        slope = own + toe / toe_load * np.exp(-loads[active] / toe_load)
        matrix = parts[np.ix_(active, active)] + np.diag(slope)
        step = scipy.linalg.cho_solve(scipy.linalg.cho_factor(matrix), gap[active])
        new = np.maximum(loads[active] + step, 0)
        moved = np.abs(new - loads[active]).max()
        loads[active] = new
        if moved <= 1e-9 * loads.max():
            return loads
    return loads


if __name__ == "__main__":
    if "--kei" in sys.argv:
        table()
        sys.exit()
    for count in (14, 64):
        parts, advances = joint(count)
        loads = settle(parts, advances)
        times = 500
        began = time.perf_counter()
        for _ in range(times):
            settle(parts, advances)
        each = (time.perf_counter() - began) / times * 1e6
        print(f"interaction: {count} fasteners solved in {each:.1f} us; first {loads[0]:.3f} N, sum {loads.sum():.3f} N")
