"""What is run, what is recorded of it, and the file of records that an interrupted run resumes."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Task:
    """One solver on one instance. `place`: ours with all of `optimizer.solve.place`."""

    family: str
    seed: int
    solver: str
    limit_s: float
    threads: int
    top: int = 1

    @property
    def size(self) -> str:
        """Parts x sites, as the family's name begins."""
        return self.family.split("_")[0]

    @property
    def kind(self) -> str:
        """The family's name without its size."""
        return self.family.split("_", 1)[1]


@dataclass(frozen=True)
class Record:
    """What a run ended with.

    `status` is the solver's, or "killed", "crashed", "out of memory". `score` is worked out anew
    from the arrays, `bound` is what the solver proved; both None without. `overstep` is by how
    much, relative, the layout oversteps the worst of its limits, 0 if none; `fault` says in words
    what is wrong with it. `solve_s` and `write_s` are seconds by the clock, `cpu_s` the solver's
    over all threads; `hidden` the score of the layout hidden in the instance.
    """

    task: Task
    status: str
    score: float | None = None
    bound: float | None = None
    hidden: float | None = None
    overstep: float = 0.0
    fault: str = ""
    solve_s: float = 0.0
    write_s: float = 0.0
    problem_s: float = 0.0
    cpu_s: float = 0.0
    peak_mib: float = 0.0
    nodes: int = 0
    rows: int = 0
    columns: int = 0
    ranks: int = 0

    @property
    def proven(self) -> bool:
        """Whether the solver said its layout is best."""
        return self.status == "optimal" and self.score is not None

    @property
    def gap(self) -> float | None:
        """What is left between score and bound, relative to the score; None without both."""
        if self.score is None or self.bound is None:
            return None
        return max(0.0, (self.score - self.bound) / max(abs(self.score), 1e-9))

    def seconds(self, writing: bool = False) -> float:
        """Seconds that count: the solver's, with those of writing its form if asked for."""
        return self.solve_s + (self.write_s if writing else 0.0)


def as_json(record: Record) -> dict[str, Any]:
    """A record as plain data."""
    plain = asdict(record)
    return {"kind": "run", **plain.pop("task"), **plain}


def from_json(plain: dict[str, Any]) -> Record:
    """A record from plain data."""
    task = Task(**{f.name: plain[f.name] for f in fields(Task) if f.name in plain})
    own = {f.name: plain[f.name] for f in fields(Record) if f.name != "task" and f.name in plain}
    return Record(task, **own)


class RunFile:
    """Records one a line, each written as soon as it is there. A torn last line is dropped."""

    def __init__(self, path: Path):
        self.path = path

    def lines(self) -> Iterator[dict[str, Any]]:
        """All that is written whole."""
        if not self.path.exists():
            return
        for line in self.path.read_text(encoding="utf-8").splitlines():
            try:
                plain = json.loads(line)
            except json.JSONDecodeError:
                continue  # torn when the run was interrupted
            if isinstance(plain, dict):
                yield plain

    def records(self) -> list[Record]:
        """The records, the last one of each task."""
        found = {}
        for plain in self.lines():
            if plain.get("kind") == "run":
                record = from_json(plain)
                found[record.task] = record
        return list(found.values())

    def machines(self) -> list[dict[str, Any]]:
        """The machines that the records were made on, each once."""
        found: list[dict[str, Any]] = []
        for plain in self.lines():
            if plain.get("kind") == "machine" and plain["machine"] not in found:
                found.append(plain["machine"])
        return found

    def append(self, plain: dict[str, Any]) -> None:
        """Add a line."""
        before = self.path.read_bytes() if self.path.exists() else b""
        torn = bool(before) and not before.endswith(b"\n")
        with self.path.open("a", encoding="utf-8") as file:
            file.write(("\n" if torn else "") + json.dumps(plain) + "\n")


def outstanding(tasks: Iterable[Task], records: Iterable[Record]) -> list[Task]:
    """Tasks without a record yet."""
    done = {record.task for record in records}
    return [task for task in tasks if task not in done]
