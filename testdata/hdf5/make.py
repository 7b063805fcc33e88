#!/usr/bin/python3
"""Write HDF5 and netCDF-4 files in many settings, and what they hold.

Usage: make.py OUTPUT_FOLDER

Needs Debian's python3-h5py, python3-netcdf4 and python3-numpy. Every file but
the last holds data set x, the float64 numbers sin(i) in 7 x 2 x 25, with
attribute Units = "metre", and a root attribute Title; many.h5 has besides fifty
attributes a0 ... a49 and sixty data sets s0 ... s59, which go to dense storage,
and one text of 9000 characters. x.csv holds the numbers.
"""
import os
import sys

import h5py
import netCDF4
import numpy as np

SHAPE = (7, 2, 25)
TITLE = "na\u00efve title"


def h5(path, libver, text=TITLE, dtype="f8", many=False, **how):
    with h5py.File(path, "w", libver=libver, track_order=many) as f:
        f.attrs["Title"] = text
        d = f.create_dataset("x", data=X.astype(dtype), **how)
        d.attrs["Units"] = np.bytes_("metre")
        if many:
            f.attrs["Long"] = np.bytes_("y" * 9000)
            for i in range(50):
                f.attrs["a%d" % i] = "value %d" % i
            for i in range(60):
                f.create_dataset("s%d" % i, data=np.array([i, 2 * i], dtype="i4"))


def nc4(path, **how):
    with netCDF4.Dataset(path, "w", format="NETCDF4") as f:
        unlimited = how.pop("unlimited", False)
        for name, n in zip("MRN", SHAPE):
            f.createDimension(name, None if unlimited and name == "M" else n)
        f.Title = TITLE
        v = f.createVariable("x", "f8", tuple("MRN"), **how)
        v.Units = "metre"
        v[:] = X
        for i in range(12):
            f.setncattr("a%d" % i, "value %d" % i)


def main(out):
    os.makedirs(out, exist_ok=True)
    p = lambda name: os.path.join(out, name)
    np.savetxt(p("x.csv"), X.ravel(), fmt="%.17g", header="x", comments="")
    packed = dict(chunks=(3, 2, 10), shuffle=True, compression="gzip", fletcher32=True)
    for libver in ("earliest", "latest"):
        h5(p("contiguous-%s.h5" % libver), libver)
        h5(p("chunked-%s.h5" % libver), libver, chunks=(3, 2, 10))
        h5(p("packed-%s.h5" % libver), libver, **packed)
        h5(p("single-%s.h5" % libver), libver, chunks=SHAPE, compression="gzip")
        h5(p("big-endian-%s.h5" % libver), libver, dtype=">f8", chunks=(7, 1, 25), fletcher32=True)
        h5(p("many-%s.h5" % libver), libver, many=True)
        h5(p("fixed-text-%s.h5" % libver), libver, text=np.bytes_(TITLE.encode()))
        h5(p("small-chunks-%s.h5" % libver), libver, chunks=(1, 1, 1))
        h5(p("unlimited-%s.h5" % libver), libver, maxshape=(None, None, 25), **packed)
    h5(p("pages-latest.h5"), "latest", chunks=(1, 1, 1), compression="gzip")
    h5(p("extensible-latest.h5"), "latest", maxshape=(None, 2, 25), **packed)
    nc4(p("plain.nc"))
    nc4(p("packed.nc"), zlib=True, shuffle=True, fletcher32=True, chunksizes=(2, 2, 25))
    nc4(p("unlimited.nc"), unlimited=True, zlib=True)
    with open(p("version.txt"), "w") as f:
        f.write("h5py %s (HDF5 %s), netCDF4 %s (netCDF %s)\n"
                % (h5py.__version__, h5py.version.hdf5_version, netCDF4.__version__, netCDF4.__netcdf4libversion__))


X = np.sin(np.arange(np.prod(SHAPE))).reshape(SHAPE)

if __name__ == "__main__":
    main(sys.argv[1])
