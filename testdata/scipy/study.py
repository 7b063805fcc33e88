"""The deconvolution and 1/24-octave band levels of all recordings of a study with
NumPy and SciPy, in processes of one thread each, to hold 'asworn run' against
(docs/developing/speed.md):

    python3 study.py STUDY [PROCESSES]

It does what asworn must do at the least: reads 24-bit WAV files of left, right and
loopback, divides each repeat by the loopback, windows the impulse response and sums up
the power in each band. No clocks, weights, noise, checks, positions, tables or page.
"""
import csv
import os
import sys
import tomllib

os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np
from multiprocessing import Pool
from scipy import fft

study = sys.argv[1]
processes = int(sys.argv[2]) if len(sys.argv) > 2 else 2
with open(os.path.join(study, "study.toml"), "rb") as f:
    sweep = tomllib.load(f)["sweep"]
rate = sweep.get("rate_hz", 48000)
length, gap, lead = (int(sweep.get(k, d) * rate) for k, d in (("seconds", 3), ("gap_seconds", 1), ("lead_seconds", 0.5)))
repeats = sweep.get("repeats", 2)
size = fft.next_fast_len(length + gap, real=True)

mid = 1000 * 10 ** (0.3 * np.arange(-136, 107) / 24)
kept = int(0.7 * rate)
power_size = fft.next_fast_len(kept, real=True)
hz = fft.rfftfreq(power_size, 1 / rate)
low, high = np.searchsorted(hz, mid * 10 ** (-0.3 / 48)), np.searchsorted(hz, mid * 10 ** (0.3 / 48))
high = np.maximum(high, low + 1)
window, fade = np.ones(kept), int(0.1 * rate)
window[:fade] = 0.5 - 0.5 * np.cos(np.pi * np.arange(fade) / fade)
window[-2 * fade:] = 0.5 + 0.5 * np.cos(np.pi * np.arange(2 * fade) / (2 * fade))


def levels(path):
    with open(path, "rb") as f:
        raw = f.read()
    at = raw.index(b"data") + 8
    b = np.frombuffer(raw, np.uint8, len(raw) - at - (len(raw) - at) % 9, at).reshape(-1, 3).astype(np.int32)
    x = (b[:, 2] << 24 | b[:, 1] << 16 | b[:, 0] << 8).astype(float).reshape(-1, 3) / 2**31
    out = []
    for r in range(repeats):
        start = lead + r * (length + gap)
        spectra = fft.rfft(x[start:start + length + gap].T, size)
        loop = spectra[2]
        least = 1e-8 * np.max(abs(loop)) ** 2
        for ear in (0, 1):
            h = fft.irfft(spectra[ear] * np.conj(loop) / (abs(loop) ** 2 + least), size)
            power = abs(fft.rfft(np.roll(h, int(0.2 * rate))[:kept] * window, power_size)) ** 2
            sums = np.concatenate([[0], np.cumsum(power)])
            out.append(10 * np.log10((sums[high] - sums[low]) / (high - low) + 1e-30))
    return np.array(out)


if __name__ == "__main__":
    with open(os.path.join(study, "seatings.csv")) as f:
        files = [os.path.join(study, row["file"]) for row in csv.DictReader(f)]
    with Pool(processes) as pool:
        found = pool.map(levels, files, chunksize=4)
    print(len(found), "recordings, mean level", np.mean([r.mean() for r in found]))
