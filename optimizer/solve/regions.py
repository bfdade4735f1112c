"""A problem by regions of the body: what the trunk and each leg cost at least by themselves.

The relaxation's multipliers take apart what joins the regions: lines between them, limits on all
of the body. What is left to each region is a pairwise problem over the slots that can be there,
small enough to be solved exactly; the least of all regions together bound every layout better than
the relaxation does, which mixes layouts within each region (Lagrangian decomposition).

A slot that can be in several regions is a slot of each of them, and its choices are shared.

References
----------
[1] M. Guignard, S. Kim, "Lagrangean decomposition: a model yielding stronger Lagrangean bounds",
    Mathematical Programming 39 (1987) 215-228.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimizer.problem.arrays import Array, IntArray
from optimizer.problem.line_tables import LineTable
from optimizer.problem.pairwise import Pair, Pairwise
from optimizer.problem.quantities import MASS
from optimizer.solve.bounds import Key
from optimizer.solve.relaxation import Relaxation
from optimizer.solve.usage import Usage

Mask = NDArray[np.bool_]
#: Per body segment (and off the body) the number of the trunk or of a leg.
_SIDES = sorted({side for _, side in MASS})
_REGION = np.array([_SIDES.index(side) for _, side in MASS])


@dataclass(frozen=True)
class Region:
    """The slots that can be in one region of the body, and what they cost by themselves.

    `model` has these slots only, in the same order, and the choices (numbers of the whole model's)
    still open.
    """

    slots: IntArray
    choices: IntArray
    model: Pairwise


@dataclass(frozen=True)
class Apart:
    """No layout costs less than `constant` + its layouts of every region + `between`.

    `between` (per pair of slots) are costs of pairs that are in no region together; inf where the
    two may not be chosen.
    """

    constant: float
    regions: list[Region]
    between: dict[Key, Array]


def apart(relaxation: Relaxation, open_: Mask, usage: Usage) -> Apart | None:
    """A solved relaxation's bound by regions; None where there is but one.

    Parameters
    ----------
    open_ : (n_c,) the choices still open
    usage : what the relaxation was solved with
    """
    m = relaxation.model
    number = _REGION[m.segment]
    names = np.unique(number[open_])
    if len(names) < 2:
        return None
    slots = [np.unique(m.slot[open_ & (number == name)]) for name in names]
    inside = np.zeros((len(names), m.n_slots), dtype=bool)
    for n, own in enumerate(slots):
        inside[n, own] = True
    # lines belong to the first region that both ends can be in
    both = inside[:, m.slot[relaxation.line_a]] & inside[:, m.slot[relaxation.line_b]]
    owner = np.where(both.any(axis=0), both.argmax(axis=0), -1)
    within = []
    for n, name in enumerate(names):
        group = np.zeros(len(relaxation.cost), dtype=bool)
        group[: len(m.choice)] = inside[n, m.slot]
        group[relaxation.u[np.unique(m.site[relaxation.open & (number == name)])]] = True
        group[relaxation.line_at[owner == n]] = True
        within.append(group)
    shares = relaxation.shared_out(within, usage)
    regions = [
        _region(relaxation, open_, own, price, owner == n)
        for n, (own, price) in enumerate(zip(slots, shares.price, strict=True))
    ]
    least, tables = relaxation.tables(owner < 0, shares.left)
    between = {
        key: np.where(relaxation.allows(key), tables[key] if pair.lines else 0.0, np.inf)
        for key, pair in m.pairs.items()
        if not inside[:, list(key)].all(axis=1).any()
    }
    return Apart(shares.constant + least, regions, between)


def _region(
    relaxation: Relaxation, open_: Mask, slots: IntArray, price: Array, lines: Mask
) -> Region:
    m = relaxation.model
    choices = np.flatnonzero(open_ & np.isin(m.slot, slots))
    slot = np.searchsorted(slots, m.slot[choices])
    first = np.searchsorted(slot, np.arange(len(slots) + 1))
    use = np.zeros(m.n_sites)
    use[relaxation.used] = price[relaxation.u[relaxation.used]]
    constant, tables = relaxation.tables(lines, price)
    ends = relaxation.line_a[lines], relaxation.line_b[lines]
    joined = set(zip(*(m.slot[end].tolist() for end in ends), strict=True))
    pairs: dict[Key, Pair] = {}
    line_tables: list[LineTable] = []
    for key in m.pairs:
        if not np.isin(key, slots).all():
            continue
        a, b = (int(each) for each in np.searchsorted(slots, key))
        own = [
            choices[first[k] : first[k + 1]] - m.first[each]
            for k, each in zip((a, b), key, strict=True)
        ]
        ok, cost = relaxation.allows(key)[np.ix_(*own)], np.zeros((len(own[0]), len(own[1])))
        number: tuple[int, ...] = ()
        if key in joined:
            cost = tables[key][np.ix_(*own)]
            ok &= np.isfinite(cost)
            cost[~ok] = 0.0
            number = (len(line_tables),)
            line_tables.append(_table(len(line_tables), a, b, ok, cost))
        elif ok.all():
            continue
        form = np.zeros((*ok.shape, 0))
        everywhere = np.ones(ok.shape, dtype=bool)
        pairs[a, b] = Pair(a, b, ok, cost, form, form, np.zeros(0), everywhere, number)
    model = replace(
        m,
        problem=replace(
            m.problem, slots=tuple(m.problem.slots[each] for each in slots.tolist()), exchange=()
        ),
        objective=replace(m.objective, curve=None, curve_slope=None, favour=None),
        choice=m.choice[choices],
        slot=slot,
        site=m.site[choices],
        first=first,
        cost=price[choices],
        use_cost=use,
        constant=constant,
        load_kg=0.0,
        # limits are among what the multipliers pay for
        n_limits=0,
        upper=np.zeros(0),
        form=np.zeros((len(choices), 0)),
        use_form=np.zeros((m.n_sites, 0)),
        piece_cost=0.0,
        piece_form=np.zeros(0),
        pieces=np.zeros((0, m.n_sites), dtype=bool),
        soft=(),
        capacity_use=m.capacity_use[choices],
        tables=tuple(line_tables),
        pairs=pairs,
        limits=(),
        segment=m.segment[choices],
    )
    return Region(slots, choices, model)


def _table(number: int, a: int, b: int, ok: Mask, cost: Array) -> LineTable:
    """All lines of a pair as one that can be bought in one way."""
    one = cost[..., None]
    return LineTable(number, a, b, ok[..., None], one, one, np.zeros((*ok.shape, 1, 0)))
