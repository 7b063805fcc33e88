#!/usr/bin/python3
"""Read headphone responses back with independent readers.

Usage: make.py OUTPUT_FOLDER

Needs Debian's libmysofa-utils, python3-netcdf4, python3-h5py and python3-numpy.
netCDF4, h5py and libmysofa (mysofa2json) read headphone.sofa, long.sofa and bare.sofa (beside this
script, written by `go test ./report/export -run Golden -update`); what they find
goes to readback.json, with the mandatory parts of the AES69 convention
SimpleHeadphoneIR 1.0 that are missing.
"""
import json
import os
import subprocess
import sys

import h5py
import netCDF4

GLOBAL = """Conventions Version SOFAConventions SOFAConventionsVersion APIName APIVersion AuthorContact DataType
License Organization RoomType DateCreated DateModified Title DatabaseName ListenerShortName ReceiverDescription
EmitterDescription""".split()
VARIABLES = {
    "ListenerPosition": ("IC", "MC"), "ReceiverPosition": ("RCI", "RCM"), "SourcePosition": ("IC", "MC"),
    "EmitterPosition": ("ECI", "ECM"), "Data.IR": ("MRN",), "Data.SamplingRate": ("I", "M"), "Data.Delay": ("IR", "MR"),
}
ATTRIBUTES = [(v, a) for v in VARIABLES if v.endswith("Position") for a in ("Type", "Units")] + [("Data.SamplingRate", "Units")]


def text(x):
    return x.decode() if isinstance(x, bytes) else str(x)


def by_netcdf4(path):
    with netCDF4.Dataset(path) as d:
        return {
            "Format": d.data_model,
            "Dimensions": {k: len(v) for k, v in d.dimensions.items()},
            "Attributes": {k: text(d.getncattr(k)) for k in d.ncattrs()},
            "Variables": {
                k: {"Dimensions": list(v.dimensions), "Attributes": {a: text(v.getncattr(a)) for a in v.ncattrs()},
                    "Values": v[:].ravel().tolist()}
                for k, v in d.variables.items()},
        }


def by_h5py(path):
    with h5py.File(path, "r") as d:
        return {
            "Attributes": {k: "" if isinstance(v, h5py.Empty) else text(v) for k, v in d.attrs.items() if not k.startswith("_")},
            "Variables": {k: {"Values": d[k][()].ravel().tolist()} for k in VARIABLES},
        }


def by_mysofa(path):
    # Its check of the attributes, after the text, knows free-field sets only and fails.
    out = json.loads(subprocess.run(["mysofa2json", "-c", path], capture_output=True).stdout)
    return {"Variables": {k: {"Values": v.get("Values")} for k, v in out["Variables"].items() if k in VARIABLES}}, out["Attributes"]["Comment"]


def bare_by_all(path):
    names = {"IR": "Data.IR", "Source": "SourcePosition"}
    n, h = by_netcdf4(path), by_h5py(path)
    run = subprocess.run(["mysofa2json", "-c", path], capture_output=True)
    m = json.loads(run.stdout)
    return {
        "Convention": n["Attributes"]["SOFAConventions"],
        "Checked": "passed" if run.returncode == 0 else "failed: %s" % run.returncode,
        "NetCDF4": {k: n["Variables"][v]["Values"] for k, v in names.items()},
        "HDF5": {k: h["Variables"][v]["Values"] for k, v in names.items()},
        "Mysofa": {k: m["Variables"][v]["Values"] for k, v in names.items()},
    }


def main(out):
    os.makedirs(out, exist_ok=True)
    here = os.path.dirname(os.path.abspath(__file__))
    path, long = os.path.join(here, "headphone.sofa"), os.path.join(here, "long.sofa")
    n, h, m = by_netcdf4(path), by_h5py(path), by_mysofa(path)[0]
    variables, comment = by_mysofa(long)
    comments = {"NetCDF4": by_netcdf4(long)["Attributes"]["Comment"], "HDF5": by_h5py(long)["Attributes"]["Comment"], "Mysofa": comment}
    same = variables == m
    missing = [a for a in GLOBAL if a not in n["Attributes"]]
    missing += [v for v, dims in VARIABLES.items()
                if v not in n["Variables"] or "".join(n["Variables"][v]["Dimensions"]) not in dims]
    missing += ["%s:%s" % (v, a) for v, a in ATTRIBUTES if a not in n["Variables"][v]["Attributes"]]
    with open(os.path.join(out, "readback.json"), "w") as f:
        json.dump({"NetCDF4": n, "HDF5": h, "Mysofa": m, "Missing": missing, "Long": comments, "LongSame": same,
                   "Bare": bare_by_all(os.path.join(here, "bare.sofa"))}, f, indent=1, sort_keys=True)
        f.write("\n")
    with open(os.path.join(out, "version.txt"), "w") as f:
        f.write("netCDF4 %s (netCDF %s), h5py %s\n" % (netCDF4.__version__, netCDF4.__netcdf4libversion__, h5py.__version__))


if __name__ == "__main__":
    main(sys.argv[1])
