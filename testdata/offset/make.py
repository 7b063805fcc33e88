#!/usr/bin/env python3
"""Reference vectors for the estimators of offsets, made with SciPy and scikit-learn.

usage: make.py OUTDIR

quantiles.csv: quantiles and tail probabilities of Student's t, chi-square and F
by scipy.stats. shrink.csv and shrink_x.csv: Ledoit and Wolf's shrinkage of small
samples by sklearn.covariance.ledoit_wolf (mean known to be zero). surface.csv,
surface_rows.csv: change of level from the mark with its standard deviation by
sklearn.gaussian_process with a given kernel; without its last term that is least
squares of first or second order with a normal prior.
Needs Debian's python3-numpy, python3-scipy and python3-sklearn.
"""
import os
import sys

import numpy as np
import scipy
import sklearn
from scipy import stats
from sklearn.covariance import ledoit_wolf
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Matern, ConstantKernel, DotProduct, Exponentiation

HEAD = "# scipy %s; scikit-learn %s; numpy %s\n" % (scipy.__version__, sklearn.__version__, np.__version__)


def table(out, name, head, rows):
    with open(os.path.join(out, name), "w") as f:
        f.write(HEAD + head + "\n")
        for row in rows:
            f.write(",".join(v if isinstance(v, str) else repr(float(v)) for v in row) + "\n")


def quantiles():
    for p in (0.005, 0.025, 0.05, 0.5, 0.9, 0.95, 0.975, 0.995):
        for n in (1, 2, 3, 7.5, 8, 31, 200):
            yield "t", p, n, 0, stats.t.ppf(p, n)
            yield "chi2", p, n, 0, stats.chi2.ppf(p, n)
            for m in (1, 4, 30):
                yield "f", p, n, m, stats.f.ppf(p, n, m)


def samples(rng):
    for case, (n, p, rho) in enumerate([(5, 12, 0.0), (8, 34, 0.8), (24, 34, 0.9), (60, 10, 0.5)]):
        r = rho ** np.abs(np.subtract.outer(np.arange(p), np.arange(p)))
        sd = 0.1 + np.arange(p) / p
        yield case, rng.multivariate_normal(np.zeros(p), r * np.outer(sd, sd), n)


def surface(rng):
    at = np.array([[0, 0, 0], [4, 0, 0], [-4, 0, 0], [0, 4, 0], [0, -4, 0], [8, 0, 0], [-8, 0, 0], [0, 8, 0],
                   [0, -8, 0], [5, 5, 0], [-5, 5, 0], [0, 0, 8], [0, 0, -8]], float)
    y = 0.3 * at[:, 0] - 0.2 * at[:, 1] + 0.02 * at[:, 0] * at[:, 1] + 0.05 * at[:, 2] + 0.3 * rng.standard_normal(len(at))
    probes = np.array([[1, 1, 0], [3, -2, 1], [-6, 6, 0], [0, 0, 5], [9, -9, 0]], float)
    rows = [[*a, v] for a, v in zip(at, y)]
    checks = []
    for lin, quad, amp, length, per in [(10, 0, 0, 8, 0.5), (100, 10, 0, 8, 0.25), (10, 0, 3, 8, 0.7), (1, 0.1, 30, 5, 0.06)]:
        scale = np.array([1, 1, per])
        unit = 8.0 ** 2
        k = ConstantKernel(1e5, "fixed") + ConstantKernel(lin / unit, "fixed") * DotProduct(0, "fixed")
        if quad:
            k = k + ConstantKernel(quad / unit ** 2, "fixed") * Exponentiation(DotProduct(0, "fixed"), 2)
        if amp:
            k = k + ConstantKernel(amp, "fixed") * Matern(length, "fixed", nu=2.5)
        g = GaussianProcessRegressor(k, alpha=1.0, optimizer=None).fit(at * scale, y - y.mean())
        mean, cov = g.predict(np.vstack([probes, np.zeros(3)]) * scale, return_cov=True)
        for i, d in enumerate(probes):
            var = cov[i, i] + cov[-1, -1] - 2 * cov[i, -1]
            checks.append([lin, quad, amp, length, per, *d, mean[i] - mean[-1], np.sqrt(max(var, 0))])
    return rows, checks


def main(out):
    rng = np.random.default_rng(4)
    table(out, "quantiles.csv", "law,p,df1,df2,quantile", quantiles())
    rows, weights = [], []
    for case, x in samples(rng):
        rows += [[case, *r, *[0] * (34 - len(r))] for r in x]
        weights.append([case, *x.shape, ledoit_wolf(x, assume_centered=True)[1]])
    table(out, "shrink_x.csv", "case" + ",value" * 34, rows)
    table(out, "shrink.csv", "case,draws,bands,shrinkage", weights)
    rows, checks = surface(rng)
    table(out, "surface_rows.csv", "forward,up,rotation,level_db", rows)
    table(out, "surface.csv", "linear,quadratic,amplitude,length_mm,mm_per_deg,forward,up,rotation,change_db,sd", checks)


main(sys.argv[1])
