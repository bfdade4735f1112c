"""Whether every speed-up leaves optimum and ranked list as they are, on random instances.

    python studies/benchmarks/agree.py --instances 500
    python studies/benchmarks/agree.py --instances 500 --only compiled

Each instance is ranked (the 8 best) with all switches on, with each one off, with each one off
where the tree must branch, and with all off (--only: one switch off alone, and where the tree must
branch); all lists must be the same, ties included: scores rank by rank within 1e-7, and the same
layouts above those that tie with the last rank. Tiny instances are listed by plain enumeration
besides. The switches are the fields of
`optimizer.problem.presolve.Switches`, whichever there are.

Four of five instances are random studies with every kind of limit the program knows, half of them
tiny, half of medium size; they come from `tests/instances.py`, so run this from a source tree.
Every fifth is of the small families of `families.py`. Differences are printed with the number
that --start takes up again; then the exit code is 1.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
if (ROOT / "optimizer").is_dir():
    sys.path.insert(0, str(ROOT))

from families import FAMILIES, make  # noqa: E402
from speed.ranked import SAME_CURVED, Listed, difference, listed, tolerance, variants  # noqa: E402
from speed.switches import names  # noqa: E402

from optimizer.problem.build import build_problem  # noqa: E402
from optimizer.problem.presolve import Switches  # noqa: E402
from optimizer.setting import Setting, build_setting  # noqa: E402
from optimizer.study.model import Study  # noqa: E402

TOP = 8
#: Every so many instances one of a small family.
FAMILY_EVERY = 5
SMALL = [name for name in FAMILIES if name.startswith("8x24_")]
#: Seconds a list may take before it is given up and told as unfinished.
LIMIT_S = 120.0
#: Seconds between lines of progress.
TELL_S = 5.0


@dataclass(frozen=True)
class Checked:
    """What came of one instance."""

    number: int
    name: str
    layouts: int
    nodes: int
    runs: int
    enumerated: bool
    wrong: tuple[str, ...]
    unfinished: tuple[str, ...]


def study_of(number: int) -> tuple[str, Study, bool]:
    """The instance of a number: its name, the study, and whether it is tiny."""
    if number % FAMILY_EVERY == 0:
        family = SMALL[number // FAMILY_EVERY % len(SMALL)]
        return f"{family} seed {number}", make(FAMILIES[family], number)[0], False
    try:
        from tests.instances import random_study
    except ModuleNotFoundError as error:
        raise SystemExit("random studies come from tests/: run this in a source tree") from error
    if number % 2:
        return f"random study {number}", random_study(number), True
    study = random_study(number, parts=6, sites=9, lines=6)
    return f"random study {number}, 6 parts", study, False


def check(number: int, limit_s: float = LIMIT_S, only: str = "") -> Checked:
    """Rank one instance under every variant of the switches, or those of one switch."""
    name, study, tiny = study_of(number)
    setting = build_setting(study)
    wrong, unfinished = [], []
    problem = build_problem(setting)
    reference = listed(problem, Switches(), TOP, limit_s)
    nodes, runs = reference.nodes, 1
    if not reference.finished:
        unfinished.append("all on")
    for label, switches in chosen_variants(only).items():
        other = listed(build_problem(setting), switches, TOP, limit_s)
        nodes, runs = max(nodes, other.nodes), runs + 1
        if not other.finished:
            unfinished.append(label)
            continue
        told = difference(reference, other, tolerance(problem, switches))
        if told and reference.finished:
            wrong.append(f"{label}: {told}")
    if tiny and reference.finished:
        told = enumerated_otherwise(setting, reference)
        if told:
            wrong.append(f"plain enumeration: {told}")
    return Checked(
        number, name, len(reference.scores), nodes, runs, tiny, tuple(wrong), tuple(unfinished)
    )


def enumerated_otherwise(setting: Setting, found: Listed) -> str:
    """How a list differs from that of a plain enumeration of the study; "" if it does not."""
    from tests.solve.ledger import layout_identity
    from tests.solve.oracle import Enumeration

    truth = list(islice(Enumeration(setting).ranked(), TOP))
    problem = build_problem(setting)

    def place(slot: int, c: int) -> tuple[str, str]:
        model = problem.slots[slot].models[int(problem.choice_model[c])]
        return model, problem.site_names[int(problem.choice_site[c])]

    keys = [
        layout_identity(
            setting.study,
            {problem.slots[slot].unit: place(slot, c) for slot, c in enumerate(chosen)},
        )
        for chosen in found.chosen
    ]
    # the enumeration adds up the study's numbers on a road of its own and rounds elsewhere
    return difference(
        Listed(found.scores, tuple(keys), True),
        Listed(tuple(e.score for e in truth), tuple(e.identity for e in truth), True),
        SAME_CURVED,
    )


def chosen_variants(only: str) -> dict[str, Switches]:
    """All variants, or those named after one switch."""
    return {label: each for label, each in variants().items() if only in label}


def checks(numbers: range, workers: int, limit_s: float, only: str) -> Iterator[Checked]:
    """Every instance, in order, on one or several processes."""
    if workers <= 1:
        yield from (check(number, limit_s, only) for number in numbers)
        return
    n = len(numbers)
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(check, numbers, [limit_s] * n, [only] * n)


def main(arguments: list[str] | None = None) -> int:
    """Run the command; 1 if anything differs."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--instances", type=int, default=500)
    parser.add_argument("--start", type=int, default=0, help="number of the first instance")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--limit", type=float, default=LIMIT_S, help="seconds a list may take")
    parser.add_argument("--only", default="", metavar="SWITCH", help="this switch alone")
    asked = parser.parse_args(arguments)
    if asked.only and asked.only not in names():
        parser.error(f"--only {asked.only}: no such switch; there are {', '.join(names())}")
    began, told_at = time.perf_counter(), 0.0
    done: list[Checked] = []
    numbers = range(asked.start, asked.start + asked.instances)
    for one in checks(numbers, asked.workers, asked.limit, asked.only):
        done.append(one)
        for text in one.wrong:
            print(f"DIFFERENT  {one.name} (--start {one.number} --instances 1): {text}", flush=True)
        for text in one.unfinished:
            print(f"unfinished  {one.name} (--start {one.number}): {text}", flush=True)
        now = time.perf_counter() - began
        if now - told_at >= TELL_S or len(done) == len(numbers):
            told_at = now
            words = f"{len(done)}/{len(numbers)} instances, {now:.0f} s"
            print(words, file=sys.stderr, flush=True)
    wrong = [one for one in done if one.wrong]
    print(summary(done, asked.only))
    return 1 if wrong else 0


def summary(done: list[Checked], only: str = "") -> str:
    """What was compared, and how much of it was worth comparing."""
    differ = sum(bool(one.wrong) for one in done)
    branched = sum(one.nodes > 1 for one in done)
    return (
        f"{len(done)} instances, {sum(one.runs for one in done)} ranked lists under "
        f"{1 + len(chosen_variants(only))} settings of the switches: {differ} instances differ.\n"
        f"{sum(one.layouts >= TOP for one in done)} have {TOP} layouts or more, "
        f"{sum(one.layouts == 0 for one in done)} none; the tree branched on {branched}; "
        f"{sum(one.enumerated for one in done)} were enumerated besides; "
        f"{sum(bool(one.unfinished) for one in done)} left a list unfinished."
    )


if __name__ == "__main__":
    sys.exit(main())
