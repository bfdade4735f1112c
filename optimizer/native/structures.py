"""The structures of native.h, filled from arrays.

A structure holds on to the arrays that it points to, so it may be kept for as long as is needed.
"""

from __future__ import annotations

import ctypes
from typing import Any

import numpy as np

_NUMBER, _LONG, _REAL = ctypes.c_int32, ctypes.c_int64, ctypes.c_double


class _Pointer:
    """A field that points to an array of one type."""

    def __init__(self, kind: type):
        self.kind = kind


_BYTES, _NUMBERS, _LONGS, _WORDS, _REALS = (
    _Pointer(kind) for kind in (np.uint8, np.int32, np.int64, np.uint64, np.float64)
)


_Layout = tuple[tuple[str, Any], ...]


def _fields(layout: _Layout) -> list[tuple[str, Any]]:
    """The layout in the terms of ctypes."""
    return [
        (name, ctypes.c_void_p if isinstance(kind, _Pointer) else kind) for name, kind in layout
    ]


class _Filled(ctypes.Structure):
    """Takes its fields by name; arrays are copied only where type or order differ."""

    _layout_: _Layout = ()

    def __init__(self, **given: Any):
        super().__init__()
        self.arrays: dict[str, np.ndarray[Any, Any]] = {}
        for name, kind in self._layout_:
            value = given[name]
            if isinstance(kind, _Pointer):
                self.arrays[name] = np.ascontiguousarray(value, dtype=kind.kind)
                value = self.arrays[name].ctypes.data
            setattr(self, name, value)


class Problem(_Filled):
    """A pairwise problem; shapes and meanings are told in native.h."""

    _layout_ = (
        *((f"n_{what}", _NUMBER) for what in ("slots", "choices", "sites", "kinds")),
        *((f"n_{what}", _NUMBER) for what in ("limits", "pairs", "lines")),
        ("first", _NUMBERS),
        ("site", _NUMBERS),
        ("capacity_use", _REALS),
        ("cost", _REALS),
        ("use_cost", _REALS),
        ("pair_cost", _REALS),
        ("pair_bottom", _REALS),
        ("limit", _REALS),
        ("use_limit", _REALS),
        ("pair_limit", _REALS),
        ("pair_limit_bottom", _REALS),
        ("pair_limit_top", _REALS),
        ("upper", _REALS),
        ("pair_a", _NUMBERS),
        ("pair_b", _NUMBERS),
        ("pair_start", _LONGS),
        ("beside", _NUMBERS),
        ("beside_pair", _NUMBERS),
        ("beside_slot", _NUMBERS),
        ("line_a", _NUMBERS),
        ("line_b", _NUMBERS),
        ("line_options", _NUMBERS),
        ("line_start", _LONGS),
        ("option_cost", _REALS),
        ("option_limit", _REALS),
        ("constant", _REAL),
        ("use_saves", _NUMBER),
    )
    _fields_ = _fields(_layout_)


class Costs(_Filled):
    """What everything costs at least under multipliers."""

    _layout_ = (
        ("choice", _REALS),
        ("share", _REALS),
        ("use", _REALS),
        ("table", _REALS),
        ("empty", _REALS),
        ("filling", _REALS),
        ("idle", _REALS),
        ("mates", _NUMBERS),
        ("mate", _NUMBERS),
        ("mate_slot", _NUMBERS),
        ("together", _REALS),
        ("constant", _REAL),
    )
    _fields_ = _fields(_layout_)


class Asked(_Filled):
    """What is asked of an enumeration or a beam."""

    _layout_ = (
        ("open", _BYTES),
        ("least_form", _REALS),
        ("most", _REAL),
        ("tie", _REAL),
        ("budget", _LONG),
        ("probe", _LONG),
        ("most_found", _LONG),
        ("top", _NUMBER),
        ("width", _NUMBER),
    )
    _fields_ = _fields(_layout_)


class Answer(_Filled):
    """What came out: rows of choices in `arrays["found"]`, the first `n_found` of them."""

    _layout_ = (("found", _NUMBERS), ("n_found", _LONG), ("looked", _LONG))
    _fields_ = _fields(_layout_)


class Packing(_Filled):
    """Items of which not all fit together."""

    _layout_ = (
        *((f"n_{what}", _NUMBER) for what in ("items", "kinds", "pairs")),
        ("weight", _REALS),
        ("clash", _WORDS),
        ("pair_a", _NUMBERS),
        ("pair_b", _NUMBERS),
    )
    _fields_ = _fields(_layout_)


class Overstep(_Filled):
    """The point that a cut is wanted for."""

    _layout_ = (
        ("point", _REALS),
        *((name, _REAL) for name in ("used", "least", "least_lift")),
        ("budget", _LONG),
    )
    _fields_ = _fields(_layout_)


class HullCut(_Filled):
    """A cut, its coefficients in `arrays`, and the sets known."""

    _layout_ = (
        ("coefficient", _REALS),
        ("most", _REAL),
        ("known", _WORDS),
        ("n_known", _LONG),
    )
    _fields_ = _fields(_layout_)
