"""Ours against other solvers, on the same machine in the same run.

    cd studies/benchmarks
    python compare.py --sizes 24x48,32x48 --seeds 0,1,2 --limit 60 --out race.jsonl
    python compare.py --sizes 24x48,32x48 --seeds 0,1,2 --ranks 1,20,100 --out ranks.jsonl
    python compare.py --table race.jsonl --markdown

Runs every family of `families.py` of the sizes asked, one instance and one solver after another,
each in a process of its own: what a run takes is what its process takes, and a crash or a run
that does not end harms no other. An interrupted run goes on with --resume. Tables follow at the
end, or at any time with --table. The exit code is 1 if anything disagrees: proven scores, a bound
above a layout known, a layout that breaks a limit, a hidden layout better than the optimum.

Solvers (what each is given, and why, is told in `speed/rivals.py`):

    ours    reduce, then the search with default switches
    flow    our program with every switch off, given to HiGHS
    pairs   the pairwise-linearised program, given to HiGHS
    cpsat   OR-tools CP-SAT
    scip    SCIP, on one thread; left out if pyscipopt is not installed

`cpsat_pairs` and `scip_pairs` give these two the pairwise form instead of the flow form, which
was the faster one on pilots. Making the instance and building its arrays is common to all and not
counted; ours is counted whole from there, a rival without the time of writing its form, which is
told apart. Curved trunk models reach the rivals as tangents within 1e-6 score points.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from textwrap import wrap

HERE = Path(__file__).resolve()
if (HERE.parents[2] / "optimizer").is_dir():
    sys.path.insert(0, str(HERE.parents[2]))

from families import FAMILIES  # noqa: E402
from speed.agreement import disagreements  # noqa: E402
from speed.grid import WIDTH, Grid  # noqa: E402
from speed.machine import described, machine  # noqa: E402
from speed.measure import measure  # noqa: E402
from speed.ranks import rank_table  # noqa: E402
from speed.runs import Record, RunFile, Task, as_json, outstanding  # noqa: E402
from speed.tables import LIMITED, race_tables  # noqa: E402

RACE = ("ours", "flow", "pairs", "cpsat", "scip")
KNOWN = (*RACE, "cpsat_pairs", "scip_pairs")
SIZES = tuple(dict.fromkeys(name.split("_")[0] for name in FAMILIES))


def parser() -> argparse.ArgumentParser:
    """The command line."""
    made = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    made.add_argument("--sizes", type=_several, default=["24x48", "32x48"], help=", ".join(SIZES))
    made.add_argument("--families", type=_several, default=[], help="default: all; e.g. one_leg")
    made.add_argument("--seeds", type=_numbers, default=[0, 1, 2])
    made.add_argument("--solvers", type=_several, default=list(RACE), help=", ".join(KNOWN))
    made.add_argument("--limit", type=float, default=60.0, help="seconds a solver may take")
    made.add_argument("--threads", type=int, default=2, help="threads or workers of each rival")
    made.add_argument("--ranks", type=_numbers, help="ours alone, the K best; e.g. 1,20,100")
    made.add_argument("--out", type=Path, help="append each record to this JSON-lines file")
    made.add_argument("--resume", action="store_true", help="skip what --out holds already")
    made.add_argument("--table", type=Path, help="no runs: tables from such a file")
    made.add_argument("--details", action="store_true", help="a line for every instance too")
    made.add_argument("--markdown", action="store_true", help="tables as Markdown, machine told")
    made.add_argument("--one", help=argparse.SUPPRESS)
    return made


def _several(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _numbers(text: str) -> list[int]:
    return [int(word) for word in _several(text)]


def tasks(asked: argparse.Namespace) -> list[Task]:
    """All runs asked for, instance by instance."""
    found = []
    for name, family in FAMILIES.items():
        size, kind = name.split("_", 1)
        if size not in asked.sizes or (asked.families and kind not in asked.families):
            continue
        for seed in asked.seeds:
            if asked.ranks:
                runs = [(solver, top) for top in asked.ranks for solver in ("ours", "place")]
            else:
                runs = [(solver, 1) for solver in asked.solvers]
            found += [
                Task(family.name, seed, solver, asked.limit, asked.threads, top)
                for solver, top in runs
            ]
    return found


def told(record: Record) -> str:
    """A record in a line."""
    task = record.task
    name = task.solver if task.top == 1 else f"{task.solver} top {task.top}"
    end = f"{record.solve_s:8.2f} s" if record.proven else record.status
    if record.status in LIMITED:
        gap = "no layout" if record.gap is None else f"gap {100 * record.gap:.2f} %"
        end = f"{record.status}, {gap}"
    return (
        f"{task.family} seed {task.seed}  {name:12} {end:>12}  (cpu {record.cpu_s:.2f} s, writing "
        f"{record.write_s:.2f} s, {record.peak_mib:.0f} MiB, {record.nodes} nodes) {record.fault}"
    ).rstrip()


def race(asked: argparse.Namespace) -> list[Record]:
    """Run what is outstanding; all records of the file and of this run."""
    file = RunFile(asked.out) if asked.out else None
    done = file.records() if file else []
    if done and not asked.resume:
        raise SystemExit(f"{asked.out} holds {len(done)} records: give --resume or another file")
    here = machine()
    if file and here not in file.machines():
        if file.machines():
            print("another machine, or other versions, than the records before", file=sys.stderr)
        file.append({"kind": "machine", "machine": here})
    left = outstanding(tasks(asked), done)
    for n, task in enumerate(left, 1):
        record = measure(task, HERE)
        done.append(record)
        if file:
            file.append(as_json(record))
        print(f"[{n}/{len(left)}] {told(record)}", file=sys.stderr, flush=True)
    return done


def show(records: list[Record], machines: list[str], *, markdown: bool, details: bool) -> str:
    """All tables that the records give, and what disagrees."""
    grids: list[Grid] = race_tables(records, details)
    ranks = rank_table(records)
    if ranks is not None:
        grids.append(ranks)
    parts = ["\n".join(wrap(f"Machine: {text}.", WIDTH)) + "\n" for text in machines]
    parts += [grid.markdown() if markdown else grid.text() for grid in grids]
    wrong = disagreements(records)
    inexact = [r for r in records if r.overstep > 2e-6]
    parts += [f"{told(r)}: rounding oversteps a limit by {r.overstep:.1e}\n" for r in inexact]
    if wrong:
        parts.append("\n".join(["DISAGREEMENT", *wrong]) + "\n")
    else:
        proven = sum(r.proven for r in records)
        parts.append(f"All {len(records)} runs agree, {proven} of them proofs.\n")
    return "\n".join(parts)


def main(arguments: list[str] | None = None) -> int:
    """Run the command; 1 if anything disagrees, 2 if it was asked something unknown."""
    asked = parser().parse_args(arguments)
    if asked.one:
        from speed.child import main as run_one

        return run_one(asked.one)
    unknown = [s for s in asked.solvers if s not in KNOWN]
    unknown += [s for s in asked.sizes if s not in SIZES]
    kinds = {name.split("_", 1)[1] for name in FAMILIES}
    unknown += [s for s in asked.families if s not in kinds]
    if unknown:
        print(f"unknown: {', '.join(unknown)}; see --help", file=sys.stderr)
        return 2
    if asked.table:
        file = RunFile(asked.table)
        records, machines = file.records(), file.machines()
    else:
        from speed.rivals import installed

        for name in [s for s in asked.solvers if not installed(s)]:
            print(f"{name} is left out: its package is not installed", file=sys.stderr)
            asked.solvers.remove(name)
        try:
            records, machines = race(asked), [machine()]
        except KeyboardInterrupt:
            print("interrupted; with --out and --resume it goes on", file=sys.stderr)
            return 130
        if asked.out:
            machines = RunFile(asked.out).machines()
    if not records:
        print("no records", file=sys.stderr)
        return 2
    words = [described(each) for each in machines]
    print(show(records, words, markdown=asked.markdown, details=asked.details))
    return 1 if disagreements(records) else 0


if __name__ == "__main__":
    sys.exit(main())
