"""How much longer the K best layouts take than the best one."""

from __future__ import annotations

from collections.abc import Iterable

from speed.grid import Grid, geometric_mean, short
from speed.runs import Record
from speed.tables import by_size, mean, ratio, seconds, shown, wall


def rank_table(records: Iterable[Record]) -> Grid | None:
    """How much longer the K best take than the best one, search alone and with assessment."""
    found = {
        (r.task.family, r.task.seed, r.task.solver, r.task.top): r
        for r in records
        if r.task.solver in ("ours", "place")
    }
    tops = sorted({key[3] for key in found})
    if len(tops) < 2 and not any(key[2] == "place" for key in found):
        return None
    families = list(dict.fromkeys(key[0] for key in found))
    families.sort(key=lambda family: by_size(family.split("_")[0]))
    seeds = sorted({key[1] for key in found})
    head = ["family", "best s", *(f"{top} best" for top in tops if top > 1)]
    head += ["placed s", *(f"{top} placed" for top in tops if top > 1)]
    grid = Grid("Ranking: seconds of the best, and the K best in times of it", head)
    means: list[list[float]] = [[] for _ in head[1:]]
    worst = [0.0 for _ in head[1:]]
    for family in families:
        row: list[str] = []
        for solver in ("ours", "place"):
            for top in tops:
                values = []
                for seed in seeds:
                    one, many = (found.get((family, seed, solver, t)) for t in (1, top))
                    a, b = (seconds(r, wall) if r else None for r in (one, many))
                    if a is None or b is None:
                        continue
                    values.append(b if top == 1 else ratio(b, a))
                middle = mean(values)
                row.append(shown(middle))
                if middle is not None:
                    means[len(row) - 1] += [m.value for m in values]
                    worst[len(row) - 1] = max(worst[len(row) - 1], *(m.value for m in values))
        grid.rows.append([family, *row])
    grid.rows.append(["all", *(short(geometric_mean(v)) if v else "-" for v in means)])
    grid.rows.append(["worst instance", *(short(v) if v else "-" for v in worst)])
    grid.notes.append(
        "Search: reduce and search. Placed: the whole of place from the setting on, every layout "
        "assessed anew."
    )
    return grid
