#!/usr/bin/env python3
"""Reference vectors for the stand-out test, made with SciPy and scikit-learn.

usage: make.py OUTDIR

members.csv: rows of three groups. shapes.csv: the shape of the scatter of the
other groups, the covariance of the directions of their residuals shrunk by
sklearn.covariance.ledoit_wolf, at least 5 %. laws.csv, per group and excess
(degrees of freedom of an inverse-Wishart covariance about the unit matrix less
columns less 1), by member: F, solved from scipy.stats.multivariate_t's density
of the member given the others at their scale; its tail probability by
scipy.stats.f with the degrees of freedom as docs/standouts.md has them; and the
group's log marginal likelihood, less that at the least excess, by Bayes' rule
from scipy.stats.wishart and invwishart at some covariance, which must not matter.
"""
import csv
import os
import sys

import numpy as np
import scipy
import sklearn
from scipy.stats import f, invwishart, multivariate_t, wishart
from sklearn.covariance import ledoit_wolf

HEAD = ["# scipy %s; scikit-learn %s; numpy %s" % (scipy.__version__, sklearn.__version__, np.__version__)]
EXCESSES = (1.5, 5, 80)
SCALE_SHARE = 0.9


def words(v):
    return " ".join(repr(float(x)) for x in np.ravel(v))


def shape(groups, but):
    signs = []
    for g, x in enumerate(groups):
        if g != but:
            r = x - x.mean(axis=0)
            signs.append(r / np.linalg.norm(r, axis=1, keepdims=True) * np.sqrt(x.shape[1]))
    x = np.vstack(signs)
    _, weight = ledoit_wolf(x, assume_centered=True)
    weight = max(weight, 0.05)
    return (1 - weight) * x.T @ x / len(x) + weight * np.eye(x.shape[1])


def predict(x, i, excess):
    rest = np.delete(x, i, axis=0)
    m, p = rest.shape
    r = rest - rest.mean(axis=0)
    s2 = np.sum(r**2) / ((m - 1) * p)
    a = excess * np.eye(p) + r.T @ r / s2
    df = excess + m + 1
    law = multivariate_t(rest.mean(axis=0), s2 * a * (1 + 1 / m) / df, df=df)
    # density(x)/density(mean) = (1 + p·F/df)^(−(df + p)/2)
    ratio = np.exp(-2 / (df + p) * (law.logpdf(x[i]) - law.logpdf(rest.mean(axis=0))))
    big_f = (ratio - 1) * df / p
    independent = np.trace(a) ** 2 / np.sum(a**2)
    return big_f, f.sf(big_f, p, 1 / (1 / df + SCALE_SHARE / (independent * (m - 1))))


def log_density(x, excess, at):
    """log p(scatter) = log p(scatter | Σ) + log p(Σ) − log p(Σ | scatter)."""
    n, p = x.shape
    r = x - x.mean(axis=0)
    w = r.T @ r / (np.sum(r**2) / ((n - 1) * p))
    nu, prior = p + 1 + excess, excess * np.eye(p)
    return (wishart.logpdf(w, n - 1, at) + invwishart.logpdf(at, nu, prior)
            - invwishart.logpdf(at, nu + n - 1, prior + w))


def main(out):
    rng = np.random.default_rng(20240611)
    groups = [np.round(rng.standard_normal((n, 4)) * [1, 0.6, 0.4, 0.3] @ np.linalg.qr(rng.standard_normal((4, 4)))[0], 6)
              for n in (8, 9, 12)]
    groups[1][2] += 4

    def table(name, head, lines):
        with open(os.path.join(out, name), "w", newline="") as fh:
            w = csv.writer(fh, lineterminator="\n")
            w.writerow(HEAD)
            w.writerow(head)
            w.writerows(lines)

    table("members.csv", ["group", "member", "levels_db"],
          [[g, i, words(row)] for g, x in enumerate(groups) for i, row in enumerate(x)])
    table("shapes.csv", ["group", "shape"], [[g, words(shape(groups, g))] for g in range(len(groups))])
    lines = []
    for g, x in enumerate(groups):
        for excess in EXCESSES:
            both = [predict(x, i, excess) for i in range(len(x))]
            at = np.eye(4) + 0.1
            gain = log_density(x, excess, at) - log_density(x, EXCESSES[0], at)
            assert abs(gain - log_density(x, excess, 2 * at) + log_density(x, EXCESSES[0], 2 * at)) < 1e-9
            lines.append([g, excess, words([b[0] for b in both]), words([b[1] for b in both]), repr(float(gain))])
    table("laws.csv", ["group", "excess", "f", "p", "log_density"], lines)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    os.makedirs(sys.argv[1], exist_ok=True)
    main(sys.argv[1])
