#!/usr/bin/python3
"""Write FIR filters of a level curve, designed with SciPy.

Usage: make.py OUTPUT_FOLDER

Needs Debian's python3-scipy and python3-numpy. curve.csv holds the curve
(frequency_hz, level_db). linear.csv is scipy.signal.firwin2 on a dense grid with
a Hann window; minimum.csv the minimum-phase response by scipy.signal.hilbert of
the log magnitude (the phase of a minimum-phase system is its Hilbert transform).
Both: 1025 or 1024 taps at 48 kHz, one per line.
"""
import os
import sys

import numpy as np
import scipy
from scipy import signal

RATE, TAPS = 48000.0, 1024


def main(out):
    os.makedirs(out, exist_ok=True)
    hz = 1000 * 10 ** (0.3 * np.arange(-16, 15) / 3)
    x = np.log2(hz / 1000)
    db = np.round(4 * np.exp(-(x - 1) ** 2) - 5 * np.exp(-8 * (x - 2.8) ** 2) + 2 / (1 + np.exp(3 * (x + 3))), 3)
    hz = np.round(hz, 3)
    np.savetxt(os.path.join(out, "curve.csv"), np.c_[hz, db], fmt="%.3f", delimiter=",")

    def level(f):
        return np.interp(np.log(np.maximum(f, 1e-9)), np.log(hz), db)

    n = 1 << 15
    f = np.linspace(0, RATE / 2, n // 2 + 1)
    # hann(N+2) without its two zero ends
    window = signal.windows.hann(TAPS + 3)[1:-1]
    linear = signal.firwin2(TAPS + 1, f, 10 ** (level(f) / 20), nfreqs=n // 2 + 1, window=None, fs=RATE) * window
    np.savetxt(os.path.join(out, "linear.csv"), linear, fmt="%.12g")

    whole = np.abs(np.fft.fftfreq(n, 1 / RATE))
    log = level(whole) * np.log(10) / 20
    spectrum = np.exp(log - 1j * np.imag(signal.hilbert(log)))
    minimum = np.real(np.fft.ifft(spectrum))[:TAPS]
    np.savetxt(os.path.join(out, "minimum.csv"), minimum, fmt="%.12g")
    with open(os.path.join(out, "version.txt"), "w") as o:
        o.write("scipy %s, numpy %s\n" % (scipy.__version__, np.__version__))


if __name__ == "__main__":
    main(sys.argv[1])
