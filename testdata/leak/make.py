#!/usr/bin/env python3
"""Reference vectors for the leaking cup, made with SciPy.

usage: make.py OUTDIR

Builds the circuit from its elements (slit and closed volume), evaluates the
transfer function with scipy.signal.freqs and finds the 3 dB frequency with
scipy.optimize.brentq. Writes OUTDIR/response.csv and OUTDIR/slit.csv.
"""
import csv
import os
import sys

import numpy as np
import scipy
from scipy.optimize import brentq
from scipy.signal import freqs

RHO, ETA, C0 = 1.204, 1.82e-5, 343.2
SLITS = [  # height, width, length (m), volume (m3)
    (0.10e-3, 0.030, 0.015, 110e-6),
    (0.20e-3, 0.020, 0.015, 110e-6),
    (0.30e-3, 0.020, 0.012, 60e-6),
    (0.50e-3, 0.010, 0.020, 150e-6),
    (1.00e-3, 0.040, 0.015, 110e-6),
]
FREQUENCIES = [5, 20, 50, 100, 200, 500, 1000]


def poly(r, m, c):
    return [m * c, r * c, 0.0], [m * c, r * c, 1.0]


def main(out):
    os.makedirs(out, exist_ok=True)
    head = ["# scipy " + scipy.__version__ + "; numpy " + np.__version__]
    with open(os.path.join(out, "response.csv"), "w", newline="") as f, open(os.path.join(out, "slit.csv"), "w", newline="") as g:
        w, v = csv.writer(f, lineterminator="\n"), csv.writer(g, lineterminator="\n")
        w.writerow(head)
        v.writerow(head)
        w.writerow(["case", "frequency_hz", "real", "imag"])
        v.writerow(["case", "height_m", "width_m", "length_m", "volume_m3", "resistance", "mass", "compliance", "three_db_hz"])
        for i, (h, wd, ln, vol) in enumerate(SLITS):
            r, m, c = 12 * ETA * ln / (h**3 * wd), 6 * RHO * ln / (5 * h * wd), vol / (RHO * C0**2)
            b, a = poly(r, m, c)

            def half(x):
                _, y = freqs(b, a, worN=[2 * np.pi * x])
                return abs(y[0]) ** 2 - 0.5

            grid = np.geomspace(1e-3, 5e3, 4000)
            vals = np.array([half(x) for x in grid])
            last = np.nonzero(vals[:-1] * vals[1:] < 0)[0][-1]
            three = brentq(half, grid[last], grid[last + 1], xtol=1e-12)
            v.writerow([i] + [repr(float(x)) for x in (h, wd, ln, vol, r, m, c, three)])
            _, y = freqs(b, a, worN=2 * np.pi * np.array(FREQUENCIES, float))
            for x, z in zip(FREQUENCIES, y):
                w.writerow([i, x, repr(float(z.real)), repr(float(z.imag))])


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
