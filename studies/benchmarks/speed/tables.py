"""What the records of a run say: seconds, ratios, growth, memory."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from statistics import median

from speed.agreement import groups
from speed.grid import Grid, geometric_mean, short
from speed.runs import Record

#: Least seconds a time counts as: below, clocks and start-up noise are all there is.
_LEAST_S = 1e-3
#: How the end of a run is marked that is no proof and no time limit.
_FAILED = "failed"
LIMITED = ("time_limit", "killed")
Count = Callable[[Record], float]


@dataclass(frozen=True)
class Measured:
    """A time or a ratio: exact (sign ""), at least, at most, or "~" where it is neither."""

    value: float
    sign: str = ""

    def __str__(self) -> str:
        return self.sign + short(self.value)


def seconds(record: Record, count: Count) -> Measured | None:
    """What a run counts: its time, the limit with ">=" if it ran into it, None if it failed."""
    if record.proven:
        return Measured(max(count(record), _LEAST_S))
    if record.status in LIMITED:
        return Measured(record.task.limit_s, ">=")
    return None


def mean(values: Iterable[Measured]) -> Measured | None:
    """Geometric mean; a bound as soon as one of them is."""
    every = list(values)
    if not every:
        return None
    signs = {m.sign for m in every} - {""}
    sign = "" if not signs else signs.pop() if len(signs) == 1 else "~"
    return Measured(geometric_mean([m.value for m in every]), sign)


def ratio(ours: Measured, rival: Measured) -> Measured:
    """Ours over a rival's: at most so much where the rival ran into the limit."""
    signs = {("", ""): "", ("", ">="): "<=", (">=", ""): ">="}
    return Measured(ours.value / rival.value, signs.get((ours.sign, rival.sign), "~"))


def wall(record: Record) -> float:
    """Seconds of ours, all told; a rival's without those of writing its form."""
    return record.seconds()


def wall_and_writing(record: Record) -> float:
    """Seconds with those of writing a rival's form."""
    return record.seconds(writing=True)


class Results:
    """Records of races (top 1) by size, family and seed."""

    def __init__(self, records: Iterable[Record]):
        self.records = [r for r in records if r.task.top == 1 and r.task.solver != "place"]
        self.solvers = list(dict.fromkeys(r.task.solver for r in self.records))
        self.sizes = sorted({r.task.size for r in self.records}, key=by_size)
        self.by_instance = groups(self.records)

    @property
    def rivals(self) -> list[str]:
        """All solvers but ours."""
        return [name for name in self.solvers if name != "ours"]

    def kinds(self, size: str) -> list[str]:
        """Families of a size."""
        return list(dict.fromkeys(r.task.kind for r in self.records if r.task.size == size))

    def instances(self, size: str, kind: str | None = None) -> list[dict[str, Record]]:
        """Per instance the record of every solver."""
        return [
            {r.task.solver: r for r in each}
            for each in self.by_instance.values()
            if each[0].task.size == size and kind in (None, each[0].task.kind)
        ]

    def times(self, some: list[dict[str, Record]], solver: str, count: Count) -> list[Measured]:
        """What a solver took on the instances it did not fail on."""
        found = [seconds(each[solver], count) for each in some if solver in each]
        return [m for m in found if m is not None]

    def ratios(self, some: list[dict[str, Record]], rival: str, count: Count) -> list[Measured]:
        """Ours over a rival's, instance by instance."""
        found = []
        for each in some:
            if "ours" in each and rival in each:
                a, b = seconds(each["ours"], count), seconds(each[rival], count)
                if a is not None and b is not None:
                    found.append(ratio(a, b))
        return found


def race_tables(records: Iterable[Record], details: bool = False) -> list[Grid]:
    """All tables of a race."""
    results = Results(records)
    if not results.records:
        return []
    grids = [by_family(results, size) for size in results.sizes]
    if results.rivals:
        grids.append(over_families(results))
    grids += [growth(results), memory(results)]
    if details:
        grids += [instances(results), efforts(results)]
    return grids


def by_family(results: Results, size: str) -> Grid:
    """Seconds and ratios per family of one size, geometric means over seeds."""
    seeds = sorted({r.task.seed for r in results.records if r.task.size == size})
    limits = sorted({r.task.limit_s for r in results.records if r.task.size == size})
    limit = " and ".join(f"{v:g}" for v in limits)
    grid = Grid(
        f"{size}: seconds to the proven optimum, and ours over each rival's",
        ["family", *results.solvers, *(f"/{name}" for name in results.rivals)],
    )
    for kind in [*results.kinds(size), None]:
        some = results.instances(size, kind)
        row = ["all" if kind is None else kind]
        row += [shown(mean(results.times(some, s, wall))) for s in results.solvers]
        row += [shown(mean(results.ratios(some, s, wall))) for s in results.rivals]
        grid.rows.append(row)
    grid.notes.append(
        f"Geometric means over seeds {', '.join(map(str, seeds))}; limit {limit} s: >= and <= "
        "where someone ran into it and counts with it."
    )
    failed = [r for r in results.records if r.task.size == size and seconds(r, wall) is None]
    for r in failed:
        grid.notes.append(f"{r.task.solver} failed on {r.task.family} seed {r.task.seed}: left out")
    return grid


def over_families(results: Results) -> Grid:
    """Per size: how many were proven, means, ratios by clock, with writing, and by processor."""
    grid = Grid(
        "All families: ours over each rival's time (geometric means)",
        ["size", "measured", *results.rivals],
    )
    for size in results.sizes:
        some = results.instances(size)
        for name, count in (
            ("clock", wall),
            ("clock, with writing", wall_and_writing),
            ("processor", lambda record: record.cpu_s),
        ):
            means = [shown(mean(results.ratios(some, s, count))) for s in results.rivals]
            grid.rows.append([size, name, *means])
        worst = [_worst(results, some, s) for s in results.rivals]
        grid.rows.append([size, "worst instance", *worst])
        proven = [_proven(some, s) for s in results.rivals]
        grid.rows.append([size, f"proven (ours {_proven(some, 'ours')})", *proven])
    for size in results.sizes:
        grid.notes += _worst_named(results, size, "cpsat")
    return grid


def growth(results: Results) -> Grid:
    """Mean seconds per size and by how much they grow from the size before."""
    grid = Grid("Growth with size: seconds (geometric means), x the size before",
                ["size", *results.solvers])  # fmt: skip
    before: dict[str, Measured] = {}
    for size in results.sizes:
        row = [size]
        for solver in results.solvers:
            here = mean(results.times(results.instances(size), solver, wall))
            cell = shown(here)
            if here is not None and solver in before:
                cell += f" x{here.value / before[solver].value:.1f}"
            if here is not None:
                before[solver] = here
            row.append(cell)
        grid.rows.append(row)
    return grid


def memory(results: Results) -> Grid:
    """Largest peak memory per size, of the whole process."""
    grid = Grid("Peak memory of the process [MiB], largest of all instances; nodes, median",
                ["size", *results.solvers])  # fmt: skip
    for size in results.sizes:
        row = [size]
        for solver in results.solvers:
            found = [each[solver] for each in results.instances(size) if solver in each]
            if not found:
                row.append("-")
                continue
            peak, nodes = max(r.peak_mib for r in found), median(r.nodes for r in found)
            row.append(f"{peak:.0f}; {nodes:.0f}")
        grid.rows.append(row)
    if "cpsat" in results.solvers:
        grid.notes.append("Nodes of cpsat are branches.")
    return grid


def instances(results: Results) -> Grid:
    """Every instance: seconds, or the gap at the limit."""
    grid = Grid("Every instance: seconds, or the gap left at the limit",
                ["instance", *results.solvers, "score"])  # fmt: skip
    for (family, seed), each in results.by_instance.items():
        by = {r.task.solver: r for r in each}
        scores = [r.score for r in each if r.score is not None]
        row = [f"{family}/{seed}"]
        row += [_cell(by.get(solver)) for solver in results.solvers]
        grid.rows.append([*row, f"{min(scores):.5f}" if scores else "-"])
    return grid


def efforts(results: Results) -> Grid:
    """Every instance: processor seconds, peak memory and nodes."""
    grid = Grid("Every instance: processor seconds, peak MiB, nodes",
                ["instance", *results.solvers])  # fmt: skip
    for (family, seed), each in results.by_instance.items():
        by = {r.task.solver: r for r in each}
        row = [f"{family}/{seed}"]
        for solver in results.solvers:
            r = by.get(solver)
            row.append("-" if r is None else f"{short(r.cpu_s)} {r.peak_mib:.0f} {r.nodes}")
        grid.rows.append(row)
    return grid


def _worst(results: Results, some: list[dict[str, Record]], rival: str) -> str:
    found = results.ratios(some, rival, wall)
    return shown(max(found, key=lambda m: m.value)) if found else "-"


def _worst_named(results: Results, size: str, rival: str) -> list[str]:
    worst: tuple[float, str] | None = None
    for each in results.instances(size):
        for m in results.ratios([each], rival, wall):
            task = each["ours"].task
            if worst is None or m.value > worst[0]:
                worst = m.value, f"{m} on {task.family} seed {task.seed}"
    return [f"Worst against {rival} at {size}: {worst[1]}."] if worst else []


def _proven(some: list[dict[str, Record]], solver: str) -> str:
    found = [each[solver] for each in some if solver in each]
    return f"{sum(r.proven for r in found)}/{len(found)}"


def shown(found: Measured | None) -> str:
    """A measure in figures, "-" if there is none."""
    return "-" if found is None else str(found)


def _cell(record: Record | None) -> str:
    if record is None:
        return "-"
    if record.proven:
        return short(record.seconds())
    if record.status in LIMITED:
        return "no proof" if record.gap is None else f"gap {100 * record.gap:.2f}%"
    return _FAILED


def by_size(size: str) -> tuple[int, ...]:
    """Sizes in order of parts, then sites."""
    return tuple(int(v) for v in size.split("x"))
