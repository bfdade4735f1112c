"""Finds the compiled library, if there is one and it is of these sources."""

from __future__ import annotations

import ctypes
import os
from functools import lru_cache

from optimizer.native.sources import HERE, LIBRARY, digest

#: Set to 0, the compiled parts are not used (nor made when limbtrim is installed).
VARIABLE = "LIMBTRIM_COMPILED"
#: What an enumeration, a beam or a hull ends with (native.h).
ALL, OVER_BUDGET, FULL, NO_MEMORY = range(4)
#: Sets remembered between cuts (native.h).
KNOWN = 512


def matching() -> ctypes.CDLL | None:
    """The compiled library as it is; None if there is none, or one of other sources than these."""
    return None if why_not() else ctypes.CDLL(str(HERE / LIBRARY))


def why_not() -> str:
    """Why the compiled parts are not used; "" if they are."""
    path = HERE / LIBRARY
    if os.environ.get(VARIABLE) == "0":
        return f"turned off by {VARIABLE}"
    if not path.is_file():
        return "none were made when limbtrim was installed"
    try:
        found = ctypes.CDLL(str(path))
        found.limbtrim_digest.restype = ctypes.c_char_p
        same = found.limbtrim_digest().decode() == digest()
    except (OSError, AttributeError):
        return "they cannot be loaded"
    return "" if same else "made of other sources than these: install again"


@lru_cache(maxsize=1)
def library() -> ctypes.CDLL | None:
    """The compiled functions, ready to be called; None if there are none."""
    found = matching()
    if found is None:
        return None
    # these need numpy, which takes a while to import
    from optimizer.native import structures as of

    for function in (found.limbtrim_enumerate, found.limbtrim_beam):
        function.restype = ctypes.c_int
        function.argtypes = [
            ctypes.POINTER(each) for each in (of.Problem, of.Costs, of.Asked, of.Answer)
        ]
    found.limbtrim_marginals.restype = ctypes.c_int
    found.limbtrim_marginals.argtypes = [
        ctypes.POINTER(of.Problem),
        ctypes.POINTER(of.Costs),
        ctypes.c_void_p,
        ctypes.c_double,
        ctypes.POINTER(ctypes.c_double),
        ctypes.c_void_p,
        ctypes.c_void_p,
    ]
    found.limbtrim_hull_cut.restype = ctypes.c_int
    found.limbtrim_hull_cut.argtypes = [
        ctypes.POINTER(each) for each in (of.Packing, of.Overstep, of.HullCut)
    ]
    found.limbtrim_heaviest.restype = ctypes.c_int
    found.limbtrim_heaviest.argtypes = [
        ctypes.POINTER(of.Packing),
        ctypes.c_void_p,
        ctypes.c_int64,
        ctypes.POINTER(ctypes.c_uint64),
        ctypes.POINTER(ctypes.c_double),
    ]
    return found
