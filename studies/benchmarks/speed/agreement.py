"""Whether all that was run agrees."""

from __future__ import annotations

from collections.abc import Iterable

from speed.runs import Record

#: Proven scores may differ by this much, relative: solvers' tolerances and rounded numbers.
SAME = 1e-4
#: A layout that oversteps no limit by more than this is exact; up to `ROUNDED` it is a rival's
#: rounding, and its score is left out of the comparison.
EXACT, ROUNDED = 2e-6, 1e-4


def groups(records: Iterable[Record]) -> dict[tuple[str, int], list[Record]]:
    """Records of the same instance together."""
    found: dict[tuple[str, int], list[Record]] = {}
    for record in records:
        found.setdefault((record.task.family, record.task.seed), []).append(record)
    return found


def disagreements(records: Iterable[Record]) -> list[str]:
    """What does not agree, in words; a rival that failed on its own account is no disagreement."""
    wrong: list[str] = []
    for (family, seed), each in groups(records).items():
        wrong += [f"{family} seed {seed}: {text}" for text in _of_one(each)]
    return wrong


def _of_one(records: list[Record]) -> list[str]:
    wrong = []
    for r in records:
        name = _name(r)
        if r.status == "crashed" and r.task.solver in ("ours", "place"):
            wrong.append(f"{name} crashed: {r.fault}")
        elif r.fault and r.status != "crashed":
            wrong.append(f"{name}: its layout {r.fault}")
        if r.status == "infeasible":
            wrong.append(f"{name} says that nothing fits, yet a layout is hidden in it")
        if r.overstep > ROUNDED:
            wrong.append(f"{name}: its layout oversteps a limit by {r.overstep:.1e}")
    exact = [r for r in records if r.score is not None and r.overstep <= EXACT and not r.fault]
    scores = [r.score for r in exact if r.score is not None]
    scores += [r.hidden for r in records if r.hidden is not None]
    if not scores:
        return wrong
    best = min(scores)
    tolerance = SAME * max(1.0, abs(best))
    for r in exact:
        if r.proven and r.score is not None and r.score > best + tolerance:
            wrong.append(f"{_name(r)} calls {r.score:.6f} best, yet {best:.6f} was found")
    for r in records:
        if r.bound is not None and r.bound > best + tolerance:
            wrong.append(f"{_name(r)} proved {r.bound:.6f} at least, yet {best:.6f} was found")
    return wrong


def _name(record: Record) -> str:
    top = "" if record.task.top == 1 else f" (top {record.task.top})"
    return record.task.solver + top
