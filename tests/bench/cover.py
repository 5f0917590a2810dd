"""A round plate with a free edge on an elastic foundation, by Ritz's method: what the virtual bench's cover is held against.

Run by hand: python tests/bench/cover.py. Needs numpy only. It prints the deflection at each of eight fasteners for a newton at the first, in
pm/N, as the bench's test `a_cover_comes_near_a_plate_with_a_free_edge` has it.
"""

import numpy as np
from numpy.polynomial import legendre

E, NU, FOUNDATION = 70_000.0, 0.3, 60.0
RADIUS, CIRCLE = 95.0, 80.0


def basis(x, y, order):
    """Products of Legendre polynomials up to a total order, with the derivatives that bending needs."""
    u, v = x / RADIUS, y / RADIUS
    values, xx, yy, xy = [], [], [], []
    for i in range(order + 1):
        for j in range(order + 1 - i):
            a, b = np.eye(order + 1)[i], np.eye(order + 1)[j]
            p = [legendre.legval(u, legendre.legder(a, m)) / RADIUS**m for m in range(3)]
            q = [legendre.legval(v, legendre.legder(b, m)) / RADIUS**m for m in range(3)]
            values.append(p[0] * q[0])
            xx.append(p[2] * q[0])
            yy.append(p[0] * q[2])
            xy.append(p[1] * q[1])
    return [np.array(part) for part in (values, xx, yy, xy)]


def compliance(thickness, order):
    rigidity = E * thickness**3 / (12 * (1 - NU**2))
    # Gauss in the radius, even steps round the circle.
    nodes, weights = np.polynomial.legendre.leggauss(48)
    r = RADIUS * (nodes + 1) / 2
    turns = np.arange(96) * 2 * np.pi / 96
    rr, tt = np.meshgrid(r, turns, indexing="ij")
    weight = (np.outer(weights * RADIUS / 2 * r, np.ones(96)) * 2 * np.pi / 96).ravel()
    w, xx, yy, xy = basis((rr * np.cos(tt)).ravel(), (rr * np.sin(tt)).ravel(), order)
    inner = lambda a, b: (a * weight) @ b.T
    bending = inner(xx + yy, xx + yy) - (1 - NU) * (inner(xx, yy) + inner(yy, xx) - 2 * inner(xy, xy))
    stiffness = rigidity * bending + FOUNDATION * inner(w, w)
    around = np.arange(8) * np.pi / 4
    at = basis(CIRCLE * np.cos(around), CIRCLE * np.sin(around), order)[0]
    return at.T @ np.linalg.solve(stiffness, at)


for thickness in (15.0, 20.0, 30.0, 60.0):
    for order in (12, 16):
        print(thickness, order, np.round(compliance(thickness, order)[0, :5] * 1e9, 1))
