"""Stiffness of a pair of clamped plates by axisymmetric finite elements (scikit-fem), beside the two closed forms.

Two steel plates (E 207 GPa, nu 0.3) of total thickness l, hole of the bolt's diameter d, pressed by stiff washer faces of
1.5 d on both sides; the outer edge is far away. By symmetry one half is modelled: the joint's mid-plane cannot move along
the axis. Stiffness = force / approach of the washer faces.

    pip install numpy scipy scikit-fem
    python tests/bench/member_stiffness.py > tests/data/member_stiffness_fem.csv
"""
import math

import numpy as np
import skfem
from skfem import Basis, BilinearForm, ElementQuad2, ElementVector, MeshQuad, condense, solve

E, NU, D = 207_000.0, 0.3, 12.0
LAM, MU = E * NU / ((1 + NU) * (1 - 2 * NU)), E / (2 * (1 + NU))


def graded(a, b, n, ratio):
    """Points from a to b, the last interval `ratio` times the first."""
    steps = np.geomspace(1.0, ratio, n)
    return a + (b - a) * np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()


def stiffness(length, face=1.5 * D, hole=D, fine=1):
    outer = face / 2 + 4 * max(length, 2 * D)
    # The edge of the washer face is a singular point: the mesh is fine about it.
    inner_r = face / 2 - graded(0, (face - hole) / 2, 10 * fine, 6)[::-1]
    outer_r = face / 2 + graded(0, outer - face / 2, 40 * fine, 120)[1:]
    z = length / 2 - graded(0, length / 2, 24 * fine, 20)[::-1]
    mesh = MeshQuad.init_tensor(np.concatenate([inner_r, outer_r]), z)
    basis = Basis(mesh, ElementVector(ElementQuad2()))

    @BilinearForm
    def form(u, v, w):
        r = w.x[0]

        def strain(f):
            d = f.grad
            return d[0, 0], d[1, 1], f.value[0] / r, d[0, 1] + d[1, 0]

        (er, ez, et, g), (vr, vz, vt, h) = strain(u), strain(v)
        trace = LAM * (er + ez + et)
        return ((trace + 2 * MU * er) * vr + (trace + 2 * MU * ez) * vz + (trace + 2 * MU * et) * vt + MU * g * h) * r * 2 * math.pi

    matrix = form.assemble(basis)
    middle = basis.get_dofs(lambda x: np.isclose(x[1], 0.0)).all("u^2")
    washer = basis.get_dofs(lambda x: np.isclose(x[1], length / 2) & (x[0] <= face / 2 + 1e-9)).all("u^2")
    fixed = np.unique(np.concatenate([middle, washer]))
    x = np.zeros(matrix.shape[0])
    x[washer] = -1.0
    x = solve(*condense(matrix, np.zeros(matrix.shape[0]), x=x, D=fixed))
    force = -(matrix @ x)[washer].sum()
    return force / 2.0  # each half gives one unit


def cones(length, face=1.5 * D, hole=D):
    t, tan = length / 2, math.tan(math.radians(30))
    grown = 2 * t * tan
    one = math.pi * E * hole * tan / math.log((grown + face - hole) * (face + hole) / ((grown + face + hole) * (face - hole)))
    return one / 2


def wileman(length):
    return E * D * 0.78715 * math.exp(0.62873 * D / length)


if __name__ == "__main__":
    print(f"# Stiffness of clamped plates, N/mm: E 207000 MPa, nu 0.3, d 12 mm, washer faces 18 mm, rigid; axisymmetric FEM with scikit-fem {skfem.__version__}, "
          "tests/bench/member_stiffness.py")
    print("l_over_d,fem,fem_finer,cones,wileman")
    for ratio in [0.5, 1.0, 1.5, 2.0, 3.0, 5.0]:
        length = ratio * D
        print(f"{ratio},{stiffness(length):.0f},{stiffness(length, fine=2):.0f},{cones(length):.0f},{wileman(length):.0f}", flush=True)
