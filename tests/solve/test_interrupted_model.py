"""Ctrl-C while HiGHS runs: it ends, and the model can be changed and solved again."""

from __future__ import annotations

import _thread
import signal
import time
from typing import Any

import numpy as np
import pytest

from optimizer.problem.build import build_problem
from optimizer.problem.presolve import reduce
from optimizer.setting import build_setting
from optimizer.solve.highs import LiveModel
from optimizer.solve.program import Program
from tests.solve.test_stopping_early import packing

SETTING = build_setting(packing(12))


class Pressed(LiveModel):
    """Ctrl-C is pressed from within HiGHS, at its next signs of life."""

    left, pressed = 0, 0

    def _called(self, *message: Any) -> None:
        if self.left:
            self.left, self.pressed = self.left - 1, self.pressed + 1
            _thread.interrupt_main(signal.SIGINT)
            time.sleep(0.01)  # room for Python to raise it here, if it is to be raised here
        super()._called(*message)


@pytest.mark.parametrize("times", [1, 3])
@pytest.mark.parametrize("run", [LiveModel.relaxed, LiveModel.solve])
def test_the_model_is_whole_after_it(run: Any, times: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optimizer.solve.program.LiveModel", Pressed)
    live = Program(reduce(build_problem(SETTING))).live
    assert isinstance(live, Pressed)
    whole = live.relaxed()
    row = live.add_row(0.0, 1.0, np.array([0, 1]), np.ones(2))
    live._highs.clearSolver()  # from no basis, so that there is something to stop
    live.left = times
    with pytest.raises(KeyboardInterrupt):
        run(live)
    assert live.pressed
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    live.left = 0
    live.delete_row(row)
    again = live.relaxed()
    assert whole is not None and again is not None, live._highs.getModelStatus()
    assert float(live._cost @ again) == pytest.approx(float(live._cost @ whole), abs=1e-9)
