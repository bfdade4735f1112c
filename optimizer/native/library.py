"""Finds the compiled library, if there is one and it is of these sources."""

from __future__ import annotations

import ctypes
import os
from functools import lru_cache

from optimizer.native.sources import HERE, LIBRARY, digest
from optimizer.native.structures import Answer, Asked, Costs, Problem

#: Set to 0, the compiled parts are not used (nor made when limbtrim is installed).
VARIABLE = "LIMBTRIM_COMPILED"
#: What an enumeration or a beam ends with (native.h).
ALL, OVER_BUDGET, FULL, NO_MEMORY = range(4)


@lru_cache(maxsize=1)
def library() -> ctypes.CDLL | None:
    """The compiled functions; None if there are none or others than the sources tell of."""
    path = HERE / LIBRARY
    if os.environ.get(VARIABLE) == "0" or not path.is_file():
        return None
    try:
        found = ctypes.CDLL(str(path))
        found.limbtrim_digest.restype = ctypes.c_char_p
        if found.limbtrim_digest().decode() != digest():
            return None
    except (OSError, AttributeError):
        return None
    for function in (found.limbtrim_enumerate, found.limbtrim_beam):
        function.restype = ctypes.c_int
        function.argtypes = [ctypes.POINTER(each) for each in (Problem, Costs, Asked, Answer)]
    found.limbtrim_marginals.restype = ctypes.c_int
    found.limbtrim_marginals.argtypes = [
        ctypes.POINTER(Problem),
        ctypes.POINTER(Costs),
        ctypes.c_void_p,
        ctypes.c_double,
        ctypes.POINTER(ctypes.c_double),
        ctypes.c_void_p,
        ctypes.c_void_p,
    ]
    return found
