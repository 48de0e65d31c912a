#!/usr/bin/env python3
"""The benchmark cooks solved by SciPy on the grid of package heat.

Two cooks of a 40 mm slab, constant properties, six turns, 20 minutes:

  conduct  conduction, pan contact below and convection above
  boil     the same with boiling by the enthalpy method: dE/dt = fluxes, T(E)
           flat at the boiling point, dry crust with its own conductivity; a
           boiling cell conducts as its dry and moist parts in series and keeps
           its temperature in its middle (the package places it at the front);
           evaporation and release are left out

The equations are integrated by LSODA with a banded Jacobian and by BDF with a
sparse one, from turn to turn. Run it with SciPy at hand:

  python3 heat/testdata/peer/peer.py

It prints, for each case, the worst error of the core over time against the
same equations on 480 cells (LSODA, rtol 1e-9), and the CPU time in ms (best of
three); then, where Go is at hand, the package on the same two cooks. The
numbers stand in docs/heat-cost.md.
"""
import pathlib
import subprocess
import sys
import time

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.sparse import diags

THICK, STRETCH = 0.040, 1.6
K, RHO, CP = 0.5, 1050.0, 3550.0
K_CRUST, WATER, BOUND, T_BOIL, LATENT = 0.2, 0.73, 0.04, 99.9743, 2.2566e6
PAN, H_PAN, AIR, H_AIR, START = 200.0, 400.0, 25.0, 8.0, 5.0
TURNS = [0, 120, 240, 360, 480, 720, 960, 1200]
# With boiling, vapour is also let go at these seconds after a turn: the hot
# crust of the side turned up boils its front a little longer.
LET_GO = [5, 10, 15, 20, 30, 40, 60]


class Slab:
    def __init__(self, n, boil):
        xi = 2 * np.arange(n + 1) / n - 1
        self.edge = THICK / 2 * (1 + np.tanh(STRETCH * xi) / np.tanh(STRETCH))
        self.dx = np.diff(self.edge)
        self.n, self.boil = n, boil
        self.solids = RHO * (1 - WATER) * self.dx
        self.free = RHO * WATER * self.dx - BOUND * self.solids  # water that can boil
        self.dry = np.zeros(n)  # share that has boiled dry for good
        self.curve()

    def curve(self):
        self.cap_dry = (1 + BOUND) * self.solids * CP
        self.cap = self.cap_dry + self.free * CP
        self.e_boil = self.cap * T_BOIL
        self.e_dry = self.e_boil + LATENT * self.free

    def temp(self, e):
        t = e / self.cap
        if not self.boil:
            return t
        t = np.where(e > self.e_boil, T_BOIL, t)
        return np.where(e >= self.e_dry, np.where(e > self.e_boil, T_BOIL + (e - self.e_dry) / self.cap_dry, t), t)

    def boiled(self, e):
        """Share of the cell's free water that has boiled since the last turn."""
        room = np.maximum(self.e_dry - self.e_boil, 1e-12)
        return np.clip((e - self.e_boil) / room, 0, 1)

    def let_go(self, e):
        """Vapour leaves for good; between calls a side must only heat or only cool."""
        if not self.boil:
            return e
        x = self.boiled(e)
        above = np.maximum(e - self.e_dry, 0)
        hot = e > self.e_boil
        self.dry = np.where(hot, self.dry + (1 - self.dry) * x, self.dry)
        self.free = np.where(hot, self.free * (1 - x), self.free)
        self.curve()
        return np.where(hot, self.e_boil + above, e)

    def rhs(self, a_down):
        (ta, ha), (tb, hb) = ((PAN, H_PAN), (AIR, H_AIR)) if a_down else ((AIR, H_AIR), (PAN, H_PAN))
        dx, out = self.dx, np.empty(self.n)
        half = 0.5 * dx / K
        fixed = 1 / (half[:-1] + half[1:])

        def f(_, e):
            t = self.temp(e)
            if self.boil:
                dry = self.dry + (1 - self.dry) * self.boiled(e)
                r = half * (1 - dry) + 0.5 * dx / K_CRUST * dry
                g = 1 / (r[:-1] + r[1:])
                r0, r1 = r[0], r[-1]
            else:
                g, r0, r1 = fixed, half[0], half[-1]
            q = g * (t[:-1] - t[1:])
            out[1:-1] = q[:-1] - q[1:]
            out[0] = (ta - t[0]) / (1 / ha + r0) - q[0]
            out[-1] = (tb - t[-1]) / (1 / hb + r1) + q[-1]
            return out.copy()

        return f

    def core(self, t):
        """Cubic through the means of the four (three) middle cells."""
        m = 4 if self.n % 2 == 0 else 3
        lo = (self.n - m) // 2
        x = (self.edge[lo:lo + m + 1] - THICK / 2) / self.dx[self.n // 2]
        a = np.array([[(x[j + 1] ** (p + 1) - x[j] ** (p + 1)) / ((p + 1) * (x[j + 1] - x[j])) for j in range(m)]
                      for p in range(m)])
        w = np.linalg.solve(a, np.eye(m)[0])
        return w @ t[lo:lo + m]

    def run(self, method, rtol):
        e = self.cap * START
        cores, a_down, calls = [START], True, 0
        stops = TURNS
        if self.boil:
            stops = sorted(set(TURNS) | {t + s for t in TURNS[1:-1] for s in LET_GO})
        for t0, t1 in zip(stops[:-1], stops[1:]):
            kw = dict(method=method, rtol=rtol, atol=rtol * self.cap * 10, t_eval=np.arange(t0, t1 + 1e-9, 5.0))
            if method == "LSODA":
                kw.update(lband=1, uband=1)
            else:
                kw.update(jac_sparsity=diags([1, 1, 1], [-1, 0, 1], shape=(self.n, self.n)))
            s = solve_ivp(self.rhs(a_down), (t0, t1), e, **kw)
            if not s.success:
                raise RuntimeError(s.message)
            cores += [self.core(self.temp(y)) for y in s.y.T[1:]]
            e, calls = self.let_go(s.y[:, -1]), calls + s.nfev
            if t1 in TURNS:
                a_down = not a_down
        return np.array(cores), calls


def main():
    print(f"SciPy {scipy.__version__}, NumPy {np.__version__}, Python {sys.version.split()[0]}")
    for boil in (False, True):
        name = "boil" if boil else "conduct"
        ref, _ = Slab(480, boil).run("LSODA", 1e-6 if boil else 1e-9)
        print(f"{name:8} core on 480 cells at 300, 600, 900, 1200 s: " + ", ".join(f"{ref[i]:.4f}" for i in (60, 120, 180, 240)))
        for n in (32, 100):
            for method in ("LSODA", "BDF"):
                for rtol in (1e-3, 1e-6):
                    best = 1e9
                    for _ in range(3):
                        c0 = time.process_time()
                        got, calls = Slab(n, boil).run(method, rtol)
                        best = min(best, time.process_time() - c0)
                    print(f"{name:8} {n:4} cells {method:6} rtol {rtol:.0e}  core error {np.abs(got - ref).max():7.4f} K"
                          f"  {calls:6} calls  {best * 1e3:8.1f} ms", flush=True)
    package()


def package():
    """The package on the same cooks, in the same run, where Go is at hand."""
    root = pathlib.Path(__file__).resolve().parents[3]
    go = ["go", "test", "./heat", "-run", "-", "-bench", "Cost/(conduct|boil)"]
    try:
        out = subprocess.run(go, cwd=root, capture_output=True, text=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError) as e:
        print(f"package heat could not be run beside: {e}")
        return
    for line in out.splitlines():
        words = line.split()
        if not words or not words[0].startswith("BenchmarkCost/"):
            continue
        value = dict(zip(words[3::2], map(float, words[2::2])))
        name, size = words[0].split("/")[1:3]
        print(f"{name:8} {int(size.split('x')[0]):4} cells package heat"
              f"      core error {value['core-K']:7.4f} K  {int(value['steps']):6} steps  {value['ns/op'] / 1e6:8.2f} ms")


if __name__ == "__main__":
    main()
