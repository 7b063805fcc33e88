#!/usr/bin/python3
"""Write a manikin's directional responses and their diffuse-field average.

Usage: make.py OUTPUT_FOLDER

Needs Debian's libmysofa-utils, libmysofa1, python3-numpy and python3-scipy.

manikin.json.gz is the text that mysofa2json writes of the measurement that
libmysofa ships, to keep it small the left ear only (the right one is its mirror
image there), 256 of 512 samples and three digits of each. The data are Copyright
1994 by the MIT Media Laboratory, Bill Gardner and Keith Martin (MIT Media Lab
Perceptual Computing, Technical Report 280, 1994), "provided free with no
restrictions on use, provided the authors are cited when the data is used in any
research or commercial application".

diffuse.csv holds, per third-octave band, the diffuse-field level and the one
from the front, both as the mean power of eight 1/24-octave bands, with solid
angles by SciPy's spherical Voronoi diagram.
"""
import gzip
import json
import os
import subprocess
import sys

import numpy as np
import scipy
from scipy.spatial import SphericalVoronoi

SOURCE = "/usr/share/libmysofa/default.sofa"


def third(f, power, k):
    """Mean power of the eight 1/24-octave bands of third-octave band k, in dB."""
    edges = 1000 * 10 ** (k / 10 - 0.05 + np.arange(9) / 80)
    return 10 * np.log10(np.mean([power[(f >= a) & (f < b)].mean() for a, b in zip(edges, edges[1:])]))


def main(out):
    os.makedirs(out, exist_ok=True)
    text = subprocess.run(["mysofa2json", "-s", "-c", SOURCE], check=True, capture_output=True).stdout
    doc = json.loads(text)
    v = doc["Variables"]
    rate = v["Data.SamplingRate"]["Values"][0]
    ir = np.array(v["Data.IR"]["Values"]).reshape(v["Data.IR"]["Dimensions"])
    ir = np.array([float("%.3g" % x) for x in ir[:, 0, :256].ravel()]).reshape(len(ir), 256)
    pos = np.array(v["SourcePosition"]["Values"]).reshape(-1, 3)
    doc["Attributes"]["ListenerShortName"] = "manikin"
    v["Data.IR"]["Dimensions"][1:] = 1, 256
    v["Data.IR"]["Values"] = ir.ravel().tolist()
    v["SourcePosition"]["Values"] = [float("%.6g" % x) for x in pos.ravel()]
    packed = gzip.compress(json.dumps(doc, separators=(",", ":")).encode(), compresslevel=9, mtime=0)
    with open(os.path.join(out, "manikin.json.gz"), "wb") as f:
        f.write(packed)

    az, el = np.radians(pos[:, 0]), np.radians(pos[:, 1])
    unit = np.c_[np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)]
    area = SphericalVoronoi(unit).calculate_areas()
    n = 1 << 17
    power = np.zeros(n // 2 + 1)
    for h, a in zip(ir, area / area.sum()):
        power += a * np.abs(np.fft.rfft(h, n)) ** 2
    front = np.abs(np.fft.rfft(ir[np.argmax(unit[:, 0])], n)) ** 2
    f = np.fft.rfftfreq(n, 1 / rate)
    with open(os.path.join(out, "diffuse.csv"), "w") as o:
        o.write("third,diffuse_db,front_db\n")
        for k in range(-5, 13):  # 315 Hz to 16 kHz, exact base-ten bands
            o.write("%d,%.4f,%.4f\n" % (k, third(f, power, k), third(f, front, k)))
    with open(os.path.join(out, "version.txt"), "w") as o:
        o.write("scipy %s, numpy %s\n" % (scipy.__version__, np.__version__))


if __name__ == "__main__":
    main(sys.argv[1])
