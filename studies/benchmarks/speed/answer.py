"""What a run ends with, whoever ran it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Answer:
    """A solver's answer.

    `status` is "optimal", "infeasible", "time_limit" or what else it said; `found` the best
    layout (choice of every slot, option of every line), None if there is none, `told` its score
    as the solver has it; `bound` what is proven of the score. `write_s` is the time it took to
    write the problem in the solver's form, `solve_s` the time the solver took, `cpu_s` that of
    all its threads on the processors.
    """

    status: str
    found: tuple[tuple[int, ...], tuple[int, ...]] | None
    told: float
    bound: float
    nodes: int
    write_s: float
    solve_s: float
    cpu_s: float
    rows: int
    columns: int
    ranks: int = 1
    """How many layouts were listed."""
