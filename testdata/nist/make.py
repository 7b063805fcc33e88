#!/usr/bin/python3
"""Write the one-way ANOVA sets of the NIST Statistical Reference Datasets.

Usage: make.py OUTPUT_FOLDER

The files come unchanged from Debian's python3-scipy, which carries them for
its own tests; they are works of the U.S. government and in the public domain.
They are packed, without a time stamp, because the largest are repetitive.
"""
import gzip
import os
import sys

import scipy

SETS = ["SiRstv", "AtmWtAg"] + ["SmLs%02d" % i for i in range(1, 10)]


def main(out):
    os.makedirs(out, exist_ok=True)
    src = os.path.join(os.path.dirname(scipy.__file__), "stats", "tests", "data", "nist_anova")
    for name in SETS:
        with open(os.path.join(src, name + ".dat"), "rb") as f:
            packed = gzip.compress(f.read(), compresslevel=9, mtime=0)
        with open(os.path.join(out, name + ".dat.gz"), "wb") as f:
            f.write(packed)
    with open(os.path.join(out, "version.txt"), "w") as f:
        f.write("from scipy %s, scipy/stats/tests/data/nist_anova\n" % scipy.__version__)


if __name__ == "__main__":
    main(sys.argv[1])
