"""Many independent tasks: on all cores, on a given executor, or here; resumed from a file.

Results depend on the tasks alone: not on how many workers there are, nor on the order they end
in. So a function given here must be a module's own (it is sent to other processes by name), must
not draw random numbers of its own, and its result must be plain JSON values.

    from concurrent.futures import ThreadPoolExecutor
    run(work, tasks, executor=ThreadPoolExecutor(4))

Any executor of the `concurrent.futures` interface will do, such as a cluster's:

    from distributed import Client
    run(work, tasks, executor=Client("scheduler:8786").get_executor())
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import contextmanager
from dataclasses import dataclass, fields, is_dataclass
from math import isfinite
from pathlib import Path
from typing import Any, Generic, TypeVar

from optimizer._version import __version__
from optimizer._write import write_whole
from optimizer.errors import Flaw, InputError, Origin
from optimizer.interrupts import stoppable

T = TypeVar("T")

#: Tasks handed out ahead per worker, so that none waits and few are lost on Ctrl-C.
AHEAD = 2
_FORMAT = "limbtrim.results/1"


@dataclass(frozen=True, slots=True)
class Progress:
    """How many tasks are done, of how many, and the seconds gone and probably left."""

    what: str
    done: int
    total: int
    seconds: float
    left_s: float | None


Sink = Callable[[Progress], None]


@dataclass(frozen=True)
class Results(Generic[T]):
    """What came of the tasks, in their order; None for those an interruption left undone."""

    values: tuple[Any | None, ...]
    interrupted: bool

    @property
    def done(self) -> int:
        """How many tasks have a result."""
        return sum(value is not None for value in self.values)


def fingerprint(*things: object) -> str:
    """A short mark of the input, by which a results file is known to belong to it.

    Things are plain data: numbers, text, lists, mappings, sets, dataclasses of such.
    """
    text = json.dumps([__version__, *map(_plain, things)])
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _plain(thing: Any) -> Any:
    """Plain data in one written form, whatever the order of sets."""
    if is_dataclass(thing) and not isinstance(thing, type):
        return [type(thing).__name__, *(_plain(getattr(thing, f.name)) for f in fields(thing))]
    if isinstance(thing, Mapping):
        return [[_plain(k), _plain(v)] for k, v in thing.items()]
    if isinstance(thing, set | frozenset):
        return sorted((_plain(v) for v in thing), key=repr)
    if isinstance(thing, list | tuple):
        return [_plain(v) for v in thing]
    if isinstance(thing, float):
        return repr(thing)
    if thing is None or isinstance(thing, bool | int | str):
        return thing
    raise TypeError(f"{type(thing).__name__} is not plain data")


def cores() -> int:
    """Cores this process may use."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity is not None else os.cpu_count() or 1


def run(
    work: Callable[[T], Any],
    tasks: Sequence[T],
    *,
    what: str = "tasks",
    workers: int | None = None,
    executor: Executor | None = None,
    results_file: str | Path | None = None,
    mark: str = "",
    on_progress: Sink | None = None,
) -> Results[T]:
    """Call `work` on every task.

    Parameters
    ----------
    workers : processes to use, None for all cores; 1 works in this process
    executor : used instead of a process pool, and left open
    results_file : every result is added to it as it comes; results it holds already are taken
        from it, if it was written under the same `mark` (a `fingerprint`) and `what`

    Ctrl-C ends the run; what is done by then is returned. No result may be None.

    Raises
    ------
    InputError
        If the results file belongs to another run, or cannot be written.
    """
    known: dict[int, Any] = {}
    store = None
    if results_file is not None:
        store = _Store(Path(results_file), mark)
        known = store.read(what, len(tasks))
    todo = [i for i in range(len(tasks)) if i not in known]
    clock = _Clock(what, len(tasks), len(known), on_progress)
    interrupted = False
    results = dict(known)

    def keep(i: int, value: Any) -> None:
        # as a file would give it back, so that a resumed run goes on with the same values
        value = json.loads(json.dumps(value, allow_nan=False))
        results[i] = value
        if store is not None:
            store.add(what, i, value)
        clock.tell(len(results))

    try:
        with stoppable():
            for i, value in _answers(work, tasks, todo, workers, executor):
                keep(i, value)
    except KeyboardInterrupt:
        interrupted = True
    return Results(tuple(results.get(i) for i in range(len(tasks))), interrupted)


def _answers(
    work: Callable[[T], Any],
    tasks: Sequence[T],
    todo: Sequence[int],
    workers: int | None,
    executor: Executor | None,
) -> Iterator[tuple[int, Any]]:
    count = min(cores() if workers is None else workers, len(todo))
    if executor is None and count <= 1:
        for i in todo:
            yield i, work(tasks[i])
        return
    queue = list(reversed(todo))
    running: dict[Future[Any], int] = {}
    try:
        yield from _handed_out(work, tasks, queue, running, count, executor)
    except BrokenExecutor:
        if executor is not None:
            raise
        # a worker was killed, as for want of memory; one task at a time may still do
        for i in [*running.values(), *reversed(queue)]:
            yield i, work(tasks[i])


def _handed_out(
    work: Callable[[T], Any],
    tasks: Sequence[T],
    queue: list[int],
    running: dict[Future[Any], int],
    count: int,
    executor: Executor | None,
) -> Iterator[tuple[int, Any]]:
    """Answers from an executor as they come; what has none yet stays in `queue` or `running`."""
    with _opened(executor, count) as pool:
        ahead = AHEAD * (count if executor is None else max(count, cores()))
        try:
            while queue or running:
                while queue and len(running) < ahead:
                    running[pool.submit(work, tasks[queue[-1]])] = queue[-1]
                    queue.pop()
                ended, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in ended:
                    value = future.result()
                    yield running.pop(future), value
        finally:
            for future in running:
                future.cancel()


@contextmanager
def _opened(executor: Executor | None, count: int) -> Iterator[Executor]:
    """The given executor, or a pool of fresh processes that leave Ctrl-C to this one."""
    if executor is not None:
        yield executor
        return
    # fresh processes, not forked ones: the solver's threads do not survive a fork
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(count, mp_context=context, initializer=_leave_interrupts)
    try:
        yield pool
    except BaseException:
        _end(pool)  # what runs still may run for long, and nobody waits for it
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _end(pool: ProcessPoolExecutor) -> None:
    """End the pool's own processes."""
    ended = getattr(pool, "terminate_workers", None)  # from Python 3.14 on
    if ended is not None:
        ended()
        return
    for process in list((getattr(pool, "_processes", None) or {}).values()):
        process.terminate()


def _leave_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


class _Clock:
    """Tells how far a run is; the time left goes by the tasks done in this run."""

    def __init__(self, what: str, total: int, known: int, sink: Sink | None):
        self._what, self._total, self._known, self._sink = what, total, known, sink
        self._started = time.perf_counter()

    def tell(self, done: int) -> None:
        if self._sink is None:
            return
        gone = time.perf_counter() - self._started
        fresh = done - self._known
        left = gone / fresh * (self._total - done) if fresh > 0 else None
        self._sink(Progress(self._what, done, self._total, gone, left))


class _Store:
    """A file of results: a head line, then one line of JSON per result.

    A last line that a crash cut short is dropped.
    """

    def __init__(self, path: Path, mark: str):
        self._path, self._mark = path, mark

    def read(self, what: str, total: int) -> dict[int, Any]:
        """Results of earlier runs; nothing is written before the file is known to be ours."""
        try:
            text = self._path.read_text(encoding="utf-8") if self._path.exists() else ""
            if not text:
                head = {"format": _FORMAT, "mark": self._mark}
                self._path.write_text(json.dumps(head) + "\n", encoding="utf-8")
                return {}
            whole = text[: text.rfind("\n") + 1]
            self._require_ours(text.split("\n", 1)[0])
            known = self._known(whole, what, total)
            if whole != text:
                write_whole(self._path, whole or text + "\n")
            self._path.open("a", encoding="utf-8").close()  # said now if it cannot be added to
            return known
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise self._error(None, reason, "a results file to read and write") from error

    def _require_ours(self, line: str) -> None:
        try:
            head = json.loads(line)
        except (ValueError, RecursionError):
            head = None
        if not isinstance(head, dict) or head.get("format") != _FORMAT:
            raise self._error(1, "no results file", "a results file, or a new name")
        if head.get("mark") != self._mark:
            raise self._error(
                1,
                "results of another study, other options or another version",
                "the same study and options as before, or a new file name",
            )

    def _known(self, whole: str, what: str, total: int) -> dict[int, Any]:
        known = {}
        for number, line in enumerate(whole.splitlines()[1:], start=2):
            try:
                entry = json.loads(line)
                task, result = int(entry["task"]), entry["result"]
                if entry["what"] == what and 0 <= task < total:
                    known[task] = result
            except (ValueError, TypeError, KeyError, OverflowError, RecursionError) as error:
                found = "a line that is no result"
                raise self._error(number, found, "a results file, or a new name") from error
        return known

    def _error(self, row: int | None, found: str, expected: str) -> InputError:
        return InputError([Flaw(Origin(str(self._path), row), found, expected)])

    def add(self, what: str, task: int, value: Any) -> None:
        line = json.dumps({"what": what, "task": task, "result": value}, allow_nan=False)
        with self._path.open("a", encoding="utf-8") as stream:
            stream.write(line + "\n")


def finite(value: float) -> float | None:
    """A number as JSON holds it: None where it is not finite."""
    return float(value) if isfinite(value) else None
