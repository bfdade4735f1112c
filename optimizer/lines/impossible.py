"""What physics cannot do, as data: the loader adds the table row and tells the designer."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


class ImpossiblePhysics(ValueError):  # noqa: N818  (it names the finding, not a failure of ours)
    """A number no physical line can have, e.g. a target pressure above the supply.

    `quantity` says what the number is (with its unit), `found` its value, `expected` what would
    do. `index` is the place of the first offender when arrays were given, () for plain numbers,
    so that a caller who passed one value per table row can name the row.
    """

    def __init__(
        self, quantity: str, found: float | str, expected: str, index: tuple[int, ...] = ()
    ) -> None:
        self.quantity = quantity
        self.found = found
        self.expected = expected
        self.index = index
        shown = found if isinstance(found, str) else f"{found:.6g}"
        super().__init__(f"{quantity}: found {shown}, expected {expected}")


def require(ok: ArrayLike, quantity: str, found: ArrayLike, expected: str) -> None:
    """Raise `ImpossiblePhysics` for the first element of `ok` that is not true.

    Write conditions so that they are false for a not-a-number: `x > 0`, never `not x <= 0`.
    """
    good = np.asarray(ok, dtype=bool)
    if good.all():
        return
    index = tuple(int(i) for i in np.argwhere(~good)[0])
    value = float(np.broadcast_to(np.asarray(found, dtype=float), good.shape)[index])
    raise ImpossiblePhysics(quantity, value, expected, index)


def require_positive(quantity: str, value: ArrayLike) -> None:
    """Raise unless every element is finite and above zero."""
    x = np.asarray(value, dtype=float)
    require((x > 0) & np.isfinite(x), quantity, x, "a finite number above 0")


def require_not_negative(quantity: str, value: ArrayLike) -> None:
    """Raise unless every element is finite and at least zero."""
    x = np.asarray(value, dtype=float)
    require((x >= 0) & np.isfinite(x), quantity, x, "a finite number of at least 0")
