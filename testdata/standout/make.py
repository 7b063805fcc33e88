#!/usr/bin/env python3
"""Reference vectors for the stand-out test, made with SciPy and scikit-learn.

usage: make.py OUTDIR

tail.csv: P(sum of weighted chi-square > 0), by scipy.stats.f where all weights
are equal, else by scipy.integrate.quad over Imhof's integrand.
groups.csv, members.csv: small groups of rows with a planted member, its
leave-one-out measure and the effective dimension computed with NumPy, and the
robust Mahalanobis distances of scikit-learn's minimum covariance determinant
on the first two principal components, as a second opinion.
"""
import csv
import os
import sys

import numpy as np
import scipy
import sklearn
from scipy.integrate import quad
from scipy.stats import chi2, f
from sklearn.covariance import MinCovDet

HEAD = ["# scipy %s; scikit-learn %s; numpy %s" % (scipy.__version__, sklearn.__version__, np.__version__)]


def imhof(lam, h):
    lam, h = np.asarray(lam) / np.max(np.abs(lam)), np.asarray(h, float)

    def g(u):
        theta = 0.5 * np.sum(h * np.arctan(lam * u))
        rho = np.exp(np.sum(0.25 * h * np.log1p((lam * u) ** 2)))
        return np.sin(theta) / (u * rho)

    total = 0.0
    edges = [1e-12, 0.05, 0.2, 0.5, 1, 2, 4, 8, 16, 64, 256, 4096, 1e6]
    for a, b in zip(edges[:-1], edges[1:]):
        total += quad(g, a, b, limit=400, epsabs=1e-12, epsrel=1e-10)[0]
    return 0.5 + total / np.pi


def tails(out):
    with open(os.path.join(out, "tail.csv"), "w", newline="") as fh:
        w = csv.writer(fh, lineterminator="\n")
        w.writerow(HEAD)
        w.writerow(["kind", "spectrum", "members", "f", "p"])
        for p in (1, 2, 5, 20):
            for n in (5, 10, 20):
                for q in (0.5, 1, 3, 10, 40):
                    w.writerow(["f", " ".join(["1"] * p), n, q, repr(float(f.sf(q, p, p * (n - 2))))])
        for spectrum in ([1, 0.5, 0.25, 0.125], [1, 0.6, 0.02, 0.02, 0.02], [1, 0.9, 0.8, 0.7, 0.6, 0.5]):
            for n in (5, 8):
                for q in (1, 3, 8, 20):
                    lam = list(spectrum) + [-s * q / (n - 2) for s in spectrum]
                    h = [1] * len(spectrum) + [n - 2] * len(spectrum)
                    w.writerow(["imhof", " ".join(map(str, spectrum)), n, q, repr(float(imhof(lam, h)))])


def groups(out):
    rng = np.random.default_rng(20240611)
    with open(os.path.join(out, "groups.csv"), "w", newline="") as fg, open(os.path.join(out, "members.csv"), "w", newline="") as fm:
        wg, wm = csv.writer(fg, lineterminator="\n"), csv.writer(fm, lineterminator="\n")
        wg.writerow(HEAD)
        wm.writerow(HEAD)
        wg.writerow(["group", "planted", "dimension"])
        wm.writerow(["group", "member", "ratio", "mcd_distance", "mcd_outlier", "levels_db"])
        for g, n in enumerate((8, 10, 12)):
            p = 12
            sd = 0.7 ** np.arange(p)
            x = np.round(rng.standard_normal((n, p)) * sd, 6)
            planted = g + 2
            x[planted, 2] += 9
            s = np.cov(x, rowvar=False)
            m = n - 1
            t1, t2 = np.trace(s), np.trace(s @ s)
            s2 = (t2 - t1**2 / m) * m**2 / ((m - 1) * (m + 2))
            d = (t1**2 - 2 * s2 / m) / s2
            wg.writerow([g, planted, repr(float(d))])
            u, sv, _ = np.linalg.svd(x - np.median(x, axis=0), full_matrices=False)
            score = u[:, :2] * sv[:2]
            mcd = MinCovDet(random_state=0, support_fraction=0.75).fit(score).mahalanobis(score)
            for i in range(n):
                rest = np.delete(x, i, axis=0)
                mu = rest.mean(axis=0)
                own = np.sum((x[i] - mu) ** 2) / (1 + 1 / (n - 1))
                ratio = own / (np.sum((rest - mu) ** 2) / (n - 2))
                wm.writerow([g, i, repr(float(ratio)), repr(float(mcd[i])), int(mcd[i] > chi2.ppf(0.999, 2)), " ".join(map(repr, map(float, x[i])))])


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    os.makedirs(sys.argv[1], exist_ok=True)
    tails(sys.argv[1])
    groups(sys.argv[1])
