#!/usr/bin/python3
"""Write the repeatability of ten real seatings on a manikin, by NumPy.

Usage: make.py OUTPUT_FOLDER

Needs Debian's python3-numpy and python3-scipy. Reads the impulse responses of
testdata/reseat/unit-b (attribution there). repeatability.csv holds per ear and
third-octave band the standard deviation of the level over the seatings, the
level being the mean power of eight 1/24-octave bands; summary.csv per ear the
RMS of these from 50 Hz to 10 kHz.
"""
import glob
import os
import sys

import numpy as np
import scipy
from scipy.io import wavfile


def levels(h, rate):
    """Third-octave levels in dB, 31.5 Hz to 16 kHz."""
    n = 1 << 20
    power = np.abs(np.fft.rfft(h, n)) ** 2
    f = np.arange(len(power)) * rate / n
    out = []
    for k in range(-15, 13):
        edges = 1000 * 10 ** (k / 10 - 0.05 + np.arange(9) / 80)
        cut = np.searchsorted(f, edges)
        out.append(10 * np.log10(np.mean([power[a:b].mean() for a, b in zip(cut, cut[1:])])))
    return np.array(out)


def main(out):
    os.makedirs(out, exist_ok=True)
    here = os.path.dirname(os.path.abspath(__file__))
    files = sorted(glob.glob(os.path.join(here, "..", "reseat", "unit-b", "impulse-*.wav")))
    assert len(files) == 10, files
    by_ear = [[], []]
    for name in files:
        rate, h = wavfile.read(name)
        for ear in (0, 1):
            by_ear[ear].append(levels(h[:, ear].astype(float), rate))
    with open(os.path.join(out, "repeatability.csv"), "w") as o, open(os.path.join(out, "summary.csv"), "w") as s:
        o.write("ear,third,sd_db\n")
        s.write("ear,rms_db\n")
        for ear, name in enumerate(("left", "right")):
            sd = np.std(by_ear[ear], axis=0, ddof=1)
            for k, v in zip(range(-15, 13), sd):
                o.write("%s,%d,%.5f\n" % (name, k, v))
            s.write("%s,%.5f\n" % (name, np.sqrt(np.mean(sd[2:26] ** 2))))
    with open(os.path.join(out, "version.txt"), "w") as o:
        o.write("numpy %s, scipy %s\n" % (np.__version__, scipy.__version__))


if __name__ == "__main__":
    main(sys.argv[1])
