"""Deconvolution and band levels of one recording with NumPy and SciPy.

Usage: /usr/bin/python3 testdata/scipy/speed.py RECORDING.wav [COUNT]

Does what capture.Processor does to get band levels, step by step and with the
same sizes: reads a three-channel WAV file (left, right, loopback), finds the
sweeps at a decimated rate, cuts the repeats, divides their spectra by the
loopback's, averages, windows, and integrates 1/24-octave bands on two grids.
It leaves out what capture does beside that: standard errors, noise, drift,
comparison of repeats, harmonics, levels, findings. Prints the mean time
per recording over COUNT rounds, and the levels of a few bands.
"""

import sys
import time

import numpy as np
import scipy
import scipy.fft as sf
from scipy.io import wavfile

RATE = 48000
START, STOP, SECONDS, REPEATS, GAP = 10.0, 22000.0, 3.5, 2, 1.0
L = SECONDS / np.log(STOP / START)
FADE_IN, FADE_OUT = L * np.log(2) / 2, L * np.log(2) / 24
PREROLL, TAIL = int(0.02 * RATE), int(0.55 * RATE)
PRE, POST = int(0.7 * L * np.log(2) * RATE), int(0.5 * RATE)
PRE = min(PRE, int(0.2 * RATE))


def sweep():
    t = np.arange(int(round(SECONDS * RATE))) / RATE
    x = 0.5 * np.sin(2 * np.pi * START * L * np.exp(t / L))
    x *= np.where(t < FADE_IN, np.sin(np.pi / 2 * np.minimum(t / FADE_IN, 1)) ** 2, 1)
    rest = SECONDS - t
    return x * np.where(rest < FADE_OUT, np.sin(np.pi / 2 * np.minimum(rest / FADE_OUT, 1)) ** 2, 1)


def tukey(n, a, b):
    w = np.ones(n)
    w[:a] = np.sin(np.pi / 2 * (np.arange(a) + 0.5) / a) ** 2
    w[n - b :] *= np.sin(np.pi / 2 * (np.arange(b)[::-1] + 0.5) / b) ** 2
    return w


class Setup:
    """What all recordings share, worked out once."""

    def __init__(self):
        x = sweep()
        self.len = len(x)
        self.period = self.len + int(GAP * RATE)
        self.segment = PREROLL + self.len + TAIL
        self.n = sf.next_fast_len(self.segment, real=True)
        f = np.arange(self.n // 2 + 1) * RATE / self.n
        with np.errstate(divide="ignore"):
            low = np.sin(np.pi / 2 * np.clip(np.log2(2 * f / START), 0, 1)) ** 2
            above = min(STOP * 2**0.25, RATE / 2)
            high = np.sin(np.pi / 2 * np.clip(np.log(above / f) / np.log(above / STOP), 0, 1)) ** 2
        self.keep = low * high
        self.penalty = np.zeros_like(f)
        part = (self.keep > 0) & (self.keep < 1)
        self.penalty[part] = 1 / self.keep[part] - 1
        self.dead = self.keep == 0
        self.penalty[self.dead] = np.inf
        self.low_edge = (f > START * 1.1 / 1.03) & (f < START * 1.1 * 1.03)
        self.high_edge = (f > STOP / 1.1 / 1.03) & (f < STOP / 1.1 * 1.03)
        self.upper = f > STOP
        self.window = tukey(PRE + POST, PRE // 2, int(0.25 * POST))
        # Location at a thirty-second of the rate.
        self.factor = 32
        self.small = self.decimate(x)
        # Bands, IEC 61260-1.
        g = 10**0.3
        mid = 1000 * g ** ((2 * (np.arange(248) - 17 * 8 - 4) + 1) / 48)
        self.lower, self.upper_edge = mid * g ** (-1 / 48), mid * g ** (1 / 48)
        self.grid = sf.next_fast_len(len(self.window) + 2 * 32 * 16, real=True)
        self.grid += -self.grid % 32
        self.narrow = int(np.searchsorted((self.upper_edge - self.lower) * self.grid / RATE, 12))
        self.narrow = min(self.narrow, int(np.searchsorted(self.upper_edge, RATE / 64)))
        self.short = self.grid // 16
        k = np.arange(self.short // 2 + 1) * RATE / self.grid
        self.taper = np.sin(np.pi / 2 * np.clip(2 - k / (RATE / 64), 0, 1)) ** 2
        self.fine = sf.next_fast_len(int(12 * RATE / 16 / (self.upper_edge[0] - self.lower[0])), real=True)

    def decimate(self, x):
        m = len(x) // self.factor
        return x[: m * self.factor].reshape(m, self.factor).mean(axis=1)


def integrate(power, step, lower, upper):
    cum = np.concatenate(([0.0], np.cumsum((power[1:] + power[:-1]) / 2)))

    def at(f):
        x = f / step
        k = np.minimum(x.astype(int), len(power) - 2)
        t = x - k
        return cum[k] + t * (power[k] + t * (power[k + 1] - power[k]) / 2)

    return (at(upper) - at(lower)) * step / (upper - lower)


def band_levels(s, h):
    spec = sf.rfft(h, s.grid)
    out = np.empty(len(s.lower))
    out[s.narrow :] = integrate(spec.real**2 + spec.imag**2, RATE / s.grid, s.lower[s.narrow :], s.upper_edge[s.narrow :])
    low = sf.irfft(spec[: s.short // 2 + 1] * s.taper, s.short)
    fine = sf.rfft(low, s.fine)
    out[: s.narrow] = integrate(fine.real**2 + fine.imag**2, RATE / 16 / s.fine, s.lower[: s.narrow], s.upper_edge[: s.narrow])
    return 10 * np.log10(out)


def process(s, path):
    rate, data = wavfile.read(path)
    assert rate == RATE and data.shape[1] == 3
    x = np.ascontiguousarray(data.T).astype(float) / 2.0**31  # 24 bits come left-aligned in 32
    # Where the sweeps are.
    d = s.decimate(x[2])
    n = sf.next_fast_len(len(d) + len(s.small), real=True)
    ref = sf.rfft(s.small, n)
    p = ref.real**2 + ref.imag**2
    f = np.arange(n // 2 + 1) * RATE / s.factor / n
    trace = sf.irfft(sf.rfft(d, n) * np.conj(ref) * ((f > 75) & (f < 600)) / (p + 0.02 * p.mean()), n) ** 2
    period = int(round(s.period / s.factor))
    first = np.argmax(trace)
    if first >= period and trace[first - period] > 0.1 * trace[first]:
        first -= period
    mean = 0
    for k in range(REPEATS):
        start = first * s.factor + k * s.period - PREROLL
        cut = x[:, max(start, 0) : start + s.segment]
        spec = sf.rfft(cut, s.n)
        loop = spec[2]
        p = loop.real**2 + loop.imag**2
        edge = np.where(s.upper, p[s.high_edge].mean(), p[s.low_edge].mean())
        with np.errstate(invalid="ignore"):
            inverse = np.conj(loop) / (p + edge * s.penalty)
        inverse[s.dead] = 0
        mean = mean + spec[:2] * inverse / REPEATS
    impulse = sf.irfft(mean, s.n)
    out = []
    for h in impulse:
        peak = int(np.argmax(np.abs(h[: PREROLL + TAIL])))
        cut = np.take(h, np.arange(peak - PRE, peak + POST), mode="wrap")
        out.append(band_levels(s, cut * s.window))
    return out


if __name__ == "__main__":
    setup = Setup()
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 20
    process(setup, sys.argv[1])
    begin, busy = time.perf_counter(), time.process_time()
    for _ in range(count):
        levels = process(setup, sys.argv[1])
    wall, busy = time.perf_counter() - begin, time.process_time() - busy
    print(f"numpy {np.__version__} scipy {scipy.__version__}: {1e3 * wall / count:.2f} ms per recording, {1e3 * busy / count:.2f} cpu-ms")
    print("levels", " ".join(f"{v:.4f}" for v in levels[0][20::60]))
