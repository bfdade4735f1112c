"""Long runs: the same bytes on any workers, resumed after a stop, on any executor."""

from __future__ import annotations

import json
import os
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from optimizer.errors import InputError
from optimizer.parallel import Progress, fingerprint, run
from optimizer.trust.spread import Ranges, make_spread
from optimizer.trust.trust import Trust, trust
from optimizer.views.json import encode
from optimizer.views.runs import duration, run_words
from optimizer.views.trust import trust_document
from tests.instances import random_study

STUDY = random_study(3)
SPREAD = make_spread(STUDY.energy, ranges=Ranges(mass_kg=(60.0, 80.0), worlds=2))


def answer(**changes: object) -> str:
    found = trust(STUDY, SPREAD, draws=200, scenarios=12, seed=5, **changes)  # type: ignore[arg-type]
    assert isinstance(found, Trust)
    return encode(trust_document(STUDY, found))


def slow_square(x: int) -> list[float]:
    """A task whose end has nothing to do with its place."""
    time.sleep(0.002 * (7 * x % 5))
    return [x * x, 1.0 / (x + 1)]


def test_one_worker_two_processes_and_threads_give_the_same_bytes(tmp_path: Path) -> None:
    alone = answer(workers=1)
    assert answer(workers=2) == alone
    with ThreadPoolExecutor(3) as threads:
        assert answer(executor=threads) == alone
    assert answer(workers=1, results_file=tmp_path / "results.jsonl") == alone
    # again from the file alone, without solving
    assert answer(workers=1, results_file=tmp_path / "results.jsonl") == alone


def test_another_seed_gives_other_draws() -> None:
    found = trust(STUDY, SPREAD, draws=200, scenarios=4, seed=6, workers=1, regret=False)
    assert isinstance(found, Trust)
    assert encode(trust_document(STUDY, found)) != answer(workers=1, regret=False)


def test_a_cluster_executor_gives_the_same_results() -> None:
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        values = run(slow_square, list(range(9)), executor=client.get_executor()).values
        assert answer(executor=client.get_executor()) == answer(workers=1)
    assert list(values) == [slow_square(x) for x in range(9)]


class Stopper:
    """Works, and is stopped by hand at one task."""

    def __init__(self, at: int | None):
        self.at, self.called = at, 0

    def __call__(self, x: int) -> list[float]:
        if self.called == self.at:
            raise KeyboardInterrupt
        self.called += 1
        return slow_square(x)


def test_ctrl_c_keeps_what_is_done_and_the_next_run_goes_on(tmp_path: Path) -> None:
    file = tmp_path / "results.jsonl"
    first = Stopper(4)
    stopped = run(first, list(range(9)), workers=1, results_file=file, mark="m")
    assert stopped.interrupted
    assert stopped.done == 4
    assert stopped.values[3] == slow_square(3)
    rest = Stopper(None)
    told: list[Progress] = []
    whole = run(
        rest, list(range(9)), workers=1, results_file=file, mark="m", on_progress=told.append
    )
    assert rest.called == 5
    assert not whole.interrupted
    assert list(whole.values) == [slow_square(x) for x in range(9)]
    assert [p.done for p in told] == [5, 6, 7, 8, 9]
    assert told[-1].left_s == 0.0


def test_a_results_file_cut_short_by_a_crash_loses_one_result_only(tmp_path: Path) -> None:
    file = tmp_path / "results.jsonl"
    run(slow_square, list(range(5)), workers=1, results_file=file, mark="m")
    file.write_text(file.read_text()[:-9])
    again = Stopper(None)
    whole = run(again, list(range(5)), workers=1, results_file=file, mark="m")
    assert again.called == 1
    assert list(whole.values) == [slow_square(x) for x in range(5)]


HEAD = json.dumps({"format": "limbtrim.results/1", "mark": "mine"})


@pytest.mark.parametrize("end", ["\n", ""])
@pytest.mark.parametrize(
    "text",
    [
        "part,site",
        "notes of a year\nin two lines",
        '{"a": 1}',
        '{"a": 1}\n{"b": 2}',
        "[" * 100_000,
        HEAD[:-9],
        HEAD.replace("mine", "other"),
        HEAD.replace("mine", "other") + '\n{"what": "tasks", "task": 0, "result": 1}',
        HEAD + '\n{"foo": 1}\n{"cut": "sh',
        HEAD + "\nnotes\n",
        HEAD + '\n{"what": "tasks", "task": Infinity, "result": 1}\n',
    ],
)
def test_a_file_of_something_else_is_refused_and_left_alone(
    tmp_path: Path, text: str, end: str
) -> None:
    file = tmp_path / "results.jsonl"
    file.write_bytes((text + end).encode())
    with pytest.raises(InputError):
        run(slow_square, [1], workers=1, results_file=file, mark="mine")
    assert file.read_bytes() == (text + end).encode()


def test_a_head_without_its_line_end_is_a_head(tmp_path: Path) -> None:
    file = tmp_path / "results.jsonl"
    file.write_text(HEAD)
    for fresh in (2, 0):
        again = Stopper(None)
        run(again, [3, 4], workers=1, results_file=file, mark="mine")
        assert again.called == fresh


def die_once(path: str) -> int:
    """Kill the worker at the first call; the file remembers."""
    file = Path(path)
    if not file.exists():
        file.write_text("died")
        os._exit(9)
    return 7


def test_a_killed_worker_costs_no_result(tmp_path: Path) -> None:
    tasks = [str(tmp_path / "mark")] * 4
    assert run(die_once, tasks, workers=2).values == (7, 7, 7, 7)


def test_an_error_of_a_task_is_raised_not_swallowed() -> None:
    with pytest.raises(ZeroDivisionError), ThreadPoolExecutor(2) as threads:
        run(lambda x: 1 / x, [1, 0, 2], executor=threads)


def test_marks_do_not_depend_on_the_order_of_sets_and_tell_studies_apart() -> None:
    assert fingerprint(frozenset("abc")) == fingerprint(frozenset("cba"))
    assert fingerprint(STUDY) == fingerprint(random_study(3))
    assert fingerprint(STUDY) != fingerprint(random_study(4))


def test_progress_tells_the_time_left() -> None:
    words = run_words(Progress("draws solved", 8, 15, 24.2, 200.4))
    assert words.startswith("draws solved: 8 of 15, 24 s gone, about 3 min 20 s left")
    assert duration(7500.0) == "2 h 5 min"
