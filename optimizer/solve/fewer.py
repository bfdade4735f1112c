"""What of a basis can go with columns and rows that are no longer wanted.

A basis stays one, and its prices stay what they are, if a row goes together with its own slack, or
with the only basic column it has: no other basic column is priced by it. So unwanted rows go with
unwanted basic columns one to one. What is left over stays in the program: a basic column fixed
at nothing costs little, a basis that no longer fits costs most of a start from none.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import IntArray

Mask = NDArray[np.bool_]


def left_over(
    row: IntArray,
    column: IntArray,
    unwanted: tuple[Mask, Mask],
    basic: tuple[Mask, Mask],
) -> tuple[Mask, Mask]:
    """The unwanted columns and rows that have to stay for the rest to be a basis.

    Parameters
    ----------
    row, column : where the entries of the program are
    unwanted, basic : of columns and of rows (of rows: whether their slack is basic)
    """
    columns, rows = unwanted[0] & basic[0], unwanted[1] & ~basic[1]
    entry = rows[row] & basic[0][column]
    row, column = row[entry], column[entry]
    while len(row):
        alone = np.bincount(row, minlength=len(rows))[row] == 1
        alone &= columns[column]
        if not alone.any():
            break
        going, first = np.unique(column[alone], return_index=True)
        columns[going] = False
        rows[row[alone][first]] = False
        entry = rows[row] & (columns | ~unwanted[0])[column]
        row, column = row[entry], column[entry]
    return columns, rows
