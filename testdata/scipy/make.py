"""Reference vectors from NumPy and SciPy for capture/deconv and capture.

Usage: /usr/bin/python3 testdata/scipy/make.py OUTPUT_FOLDER

Every file says which versions made it. What is compared, and how closely, is
told in docs/developing/accuracy.md.
"""

import json
import os
import sys

import numpy as np
import scipy
import scipy.fft as sf
from scipy import integrate, signal

OUT = sys.argv[1]
os.makedirs(OUT, exist_ok=True)
trapezoid = getattr(np, "trapezoid", None) or np.trapz
rng = np.random.default_rng(20240511)


def write(name, **values):
    doc = {"made_by": f"numpy {np.__version__}, scipy {scipy.__version__}"}
    for k, v in values.items():
        doc[k] = v.tolist() if isinstance(v, np.ndarray) else v
    with open(os.path.join(OUT, name + ".json"), "w") as f:
        json.dump(doc, f)
        f.write("\n")


def parts(c):
    return {"re": c.real.tolist(), "im": c.imag.tolist()}


# Sweep: scipy.signal.chirp has the phase 2πβf0((f1/f0)^(t/t1) − 1) + φ; with φ
# = 2πβf0 − 90° its cosine is the sine of a synchronised sweep.
def faded_chirp(t, start, stop, seconds, amplitude=0.5):
    ln = np.log(stop / start)
    rate = seconds / ln
    phi = np.degrees(2 * np.pi * rate * start) - 90
    x = amplitude * signal.chirp(t, start, seconds, stop, method="logarithmic", phi=phi)
    fin, fout = rate * np.log(2) / 2, rate * np.log(2) / 24
    x *= np.where(t < fin, np.sin(np.pi / 2 * np.minimum(t / fin, 1)) ** 2, 1)
    rest = seconds - t
    return x * np.where(rest < fout, np.sin(np.pi / 2 * np.clip(rest / fout, 0, 1)) ** 2, 1)


index = np.arange(0, 144000, 97)
write("sweep", start_hz=10.0, stop_hz=22000.0, seconds=3.0, rate_hz=48000.0, index=index,
      value=faded_chirp(index / 48000, 10.0, 22000.0, 3.0))

# Transforms.
cases = []
for n in (30, 128, 486, 1250, 1536):
    x = rng.standard_normal(n)
    cases.append({"x": x.tolist(), **parts(sf.rfft(x))})
write("fft", cases=cases)

# Windows: scipy's cosine window squared is the half-Hann at half samples.
n, rise, fall = 200, 60, 90
w = np.ones(n)
w[:rise] = signal.windows.cosine(2 * rise)[:rise] ** 2
w[n - fall :] = signal.windows.cosine(2 * fall)[fall:] ** 2
write("window", n=n, rise=rise, fall=fall, value=w, tukey=signal.windows.tukey(n, 2 * 60 / n))

# Welch spectra. The second is go-dsp's variant: symmetric window, no detrending.
x = rng.standard_normal(3000) + 0.3 * np.sin(2 * np.pi * 0.03 * np.arange(3000)) + 0.2
_, psd = signal.welch(x, 8000.0, window="hann", nperseg=256, noverlap=128, detrend="constant")
_, plain = signal.welch(x, 8000.0, window=signal.windows.hann(256, sym=True), nperseg=256, noverlap=128, detrend=False)
write("welch", rate_hz=8000.0, size=256, x=x, density=psd, symmetric=plain)

# Resampling: the same windowed sinc by numpy, and scipy's Fourier method.
x = signal.lfilter(signal.firwin(101, 0.8), 1, rng.standard_normal(1200))
x[:300] *= np.linspace(0, 1, 300) ** 2
x[-300:] *= np.linspace(1, 0, 300) ** 2
half, beta = 48, 10.0


def kaiser_sinc(x, ratio):
    y = np.empty(int(round(len(x) * ratio)))
    for i in range(len(y)):
        at = i / ratio
        j = np.arange(max(0, int(np.floor(at)) - half + 1), min(len(x), int(np.floor(at)) + half + 1))
        d = at - j
        y[i] = np.sum(x[j] * np.sinc(d) * np.i0(beta * np.sqrt(np.maximum(0, 1 - (d / half) ** 2))) / np.i0(beta))
    return y


stretched = int(len(x) * 1.01)
write("resample", x=x, ratio=[1.0001, 0.9997, 1.01], value=[kaiser_sinc(x, r).tolist() for r in (1.0001, 0.9997, 1.01)],
      fourier=signal.resample(x, stretched))

# Band levels of a two-resonance impulse response: the same two grids, and the
# integral of |H|² itself, which needs no grid.
rate, length = 48000.0, 24000
t = np.arange(length) / rate
h = np.exp(-t / 0.03) * np.sin(2 * np.pi * 61 * t) + 0.5 * np.exp(-t / 0.004) * np.sin(2 * np.pi * 2900 * t)
h[0] += 1
g = 10**0.3
number = 2 * (np.arange(248) - 17 * 8 - 4) + 1
mid = 1000 * g ** (number / 48)
lower, upper = mid * g ** (-1 / 48), mid * g ** (1 / 48)


def cost(n):
    steps, r = 0.0, n
    for radix, c in ((4, 1.0), (2, 0.7), (3, 1.1), (5, 1.6)):
        while r % radix == 0:
            r //= radix
            steps += c
    return n * (steps + 1) if r == 1 else np.inf


def fast(n, m=2):
    """The quickest length, as deconv.FastMultiple chooses it."""
    best, least, q = 0, np.inf, max(1, -(-n // m))
    while not (best and q * m > 1.2 * n):
        if cost(q * m) < least:
            best, least = q * m, cost(q * m)
        q += 1
    return best


def mean_over(power, step, lower, upper):
    """The mean of a piecewise linear density over each band."""

    def one(a, b):
        inner = np.arange(int(a) + 1, int(b) + 1)
        x = np.concatenate(([a], inner, [b]))
        return trapezoid(np.interp(x, np.arange(len(power)), power), x) / (b - a)

    return np.array([one(a / step, b / step) for a, b in zip(lower, upper)])


def band_power(h):
    d, guard = 16, 32 * 16
    n = fast(max(length, int(0.5 * rate)) + 2 * guard, 2 * d)
    spec = sf.rfft(h, n)
    out = mean_over(np.abs(spec) ** 2, rate / n, lower, upper)
    low = int(np.sum((upper - lower < 12 * rate / n) & (upper < rate / (4 * d))))
    k = np.arange(n // d // 2 + 1) * rate / n
    u = np.clip(2 - k / (rate / (4 * d)), 0, 1)
    seq = sf.irfft(sf.rfft(np.concatenate((np.zeros(guard), h)), n)[: len(k)] * np.sin(np.pi / 2 * u) ** 2, n // d)
    m = fast(max(n // d, int(12 * rate / d / (upper[0] - lower[0]))))
    fine = sf.rfft(seq, m)
    out[:low] = mean_over(np.abs(fine) ** 2, rate / d / m, lower[:low], upper[:low])
    return out


def exact(lo, hi):
    # ∫|H|² df by adaptive quadrature over the polynomial in exp(−jω).
    def density(f):
        return np.abs(np.sum(h * np.exp(-2j * np.pi * f * t))) ** 2

    return integrate.quad(density, lo, hi, epsabs=0, epsrel=1e-10)[0] / (hi - lo)


some = np.array([0, 1, 20, 40, 41, 42, 80, 120, 160, 200, 240])
write("bands", rate_hz=rate, mid=mid, lower=lower, upper=upper, decay=[0.03, 0.004], hz=[61.0, 2900.0], length=length,
      same=band_power(h), some=some, exact=[exact(lower[i], upper[i]) for i in some])

# Deconvolution: a short sweep through a known filter, divided by the loopback.
rate, start, stop, seconds, gap, lead = 8000.0, 40.0, 3600.0, 0.4, 0.2, 0.05
count = int(seconds * rate)
one = faded_chirp(np.arange(count) / rate, start, stop, seconds)
loop = np.concatenate((np.zeros(int(lead * rate) + 123), one, np.zeros(int(gap * rate))))
b, a = signal.butter(2, [100 / 4000, 2500 / 4000], "bandpass")
left = signal.lfilter(b, a, loop)
# As capture cuts: 20 ms before the sweep, one second after it.
preroll, tail = int(0.02 * rate), int(rate)
first = int(lead * rate) + 123 - preroll
n = fast(preroll + count + tail)
y, r = sf.rfft(left[first:], n), sf.rfft(loop[first:], n)
f = np.arange(n // 2 + 1) * rate / n
with np.errstate(divide="ignore"):
    keep = np.sin(np.pi / 2 * np.clip(np.log2(2 * f / start), 0, 1)) ** 2
    above = min(stop * 2**0.25, rate / 2)
    keep *= np.sin(np.pi / 2 * np.clip(np.log(above / f) / np.log(above / stop), 0, 1)) ** 2
p = np.abs(r) ** 2


def around(f):
    lo = max(1, int(f / 1.03 * n / rate))
    hi = min(len(p), int(f * 1.03 * n / rate) + 2)
    return np.mean(p[lo:hi])


edge = np.where(f > stop, around(stop / 1.1), around(start * 1.1))
with np.errstate(divide="ignore", invalid="ignore"):
    response = np.where(keep > 0, y * np.conj(r) / (p + edge * np.where(keep < 1, 1 / keep - 1, 0)), 0)
# Below the band the response is carried on: an even polynomial for its real and
# an odd one for its imaginary part, fitted up to 2.5 times the lowest frequency.
low, high = int(start / rate * n) + 1, int(2.5 * start / rate * n)
u = np.arange(high) / high
terms = np.stack((u**0, u**2, u**4), axis=1)
inside = slice(low, high)
even = np.linalg.lstsq(terms[inside], response.real[inside], rcond=None)[0]
odd = np.linalg.lstsq((terms * u[:, None])[inside], response.imag[inside], rcond=None)[0]
with np.errstate(divide="ignore", invalid="ignore"):
    reach = np.where(keep > 0, p / (p + edge * np.where(keep < 1, 1 / keep - 1, 0)), 0)[:low]
response[:low] += (1 - reach) * (terms[:low] @ even + 1j * (terms[:low] * u[:low, None]) @ odd)
impulse = sf.irfft(response, n)
# The direct sound: the first peak, in the 5 ms before the highest, that reaches
# 70 % of it.
size = np.abs(impulse)
top = int(np.argmax(size))
peak = next((i for i in range(top - int(0.005 * rate), top)
             if size[i] >= 0.7 * size[top] and size[i] >= size[i - 1] and size[i] >= size[i + 1]), top)
if size[peak - 1] > size[peak + 1]:
    peak -= 1  # the top of the parabola lies before that sample
rise = seconds / np.log(stop / start) * np.log(2) * 0.7
pre, post = int(round(min(0.2, rise) * rate)), int(round(0.5 * rate))
w = np.ones(pre + post)
a, b = int(round(min(0.2, rise) / 2 * rate)), int(round(0.125 * rate))
w[:a] = signal.windows.cosine(2 * a)[:a] ** 2
w[len(w) - b :] = signal.windows.cosine(2 * b)[b:] ** 2
write("deconv", rate_hz=rate, start_hz=start, stop_hz=stop, seconds=seconds, gap_seconds=gap, lead_seconds=lead,
      loopback=loop, left=left, impulse=w * np.take(impulse, np.arange(peak - pre, peak + post), mode="wrap"))
