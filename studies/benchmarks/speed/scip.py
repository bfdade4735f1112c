"""A form given to SCIP as an MPS file, which it reads itself."""

from __future__ import annotations

import tempfile
import time
from math import inf
from pathlib import Path
from typing import Any

import numpy as np

from optimizer.solve.highs import Matrix
from speed.answer import Answer
from speed.forms import Form

#: What SCIP calls things, and what they are called here.
_STATUS = {"optimal": "optimal", "infeasible": "infeasible", "timelimit": "time_limit"}
#: SCIP's infinity.
_ENDLESS = 1e19


def scip(form: Form, limit_s: float) -> Answer:
    """Solve a form with SCIP, on one thread: its Python wheel has no parallel version.

    Raises
    ------
    ImportError
        If pyscipopt is not installed.
    """
    from pyscipopt import Model

    began = time.perf_counter()
    matrix = form.matrix
    model: Any = Model()
    model.hideOutput()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "program.mps"
        write_mps(matrix, file)
        model.readProblem(str(file))
    model.setParam("limits/time", limit_s)
    model.setParam("limits/gap", 0.0)
    written, cpu = time.perf_counter(), time.process_time()
    model.optimize()
    solved, cpu = time.perf_counter(), time.process_time() - cpu
    found, told = None, inf
    if model.getNSols():
        best = model.getBestSol()
        x = np.zeros(len(matrix.cost))
        for variable in model.getVars():
            x[int(variable.name.removeprefix("c"))] = model.getSolVal(best, variable)
        found, told = form.read(x), float(model.getSolObjVal(best))
    bound = float(model.getDualbound())
    status = str(model.getStatus())
    return Answer(
        status=_STATUS.get(status, status),
        found=found,
        told=told,
        bound=bound if abs(bound) < _ENDLESS else -inf,
        nodes=int(model.getNTotalNodes()),
        write_s=written - began,
        solve_s=solved - written,
        cpu_s=cpu,
        rows=len(matrix.row_lower),
        columns=len(matrix.cost),
    )


def write_mps(matrix: Matrix, file: Path) -> None:
    """Write a program as a free MPS file, columns named c0, c1, ..., numbers in full.

    Raises
    ------
    ValueError
        If a row has two different finite sides.
    """
    row_of = np.repeat(np.arange(len(matrix.row_lower)), np.diff(matrix.start))
    order = np.argsort(matrix.index, kind="stable")
    first = np.searchsorted(matrix.index[order], np.arange(len(matrix.cost) + 1))
    lines = ["NAME program", "ROWS", " N cost"]
    right: list[str] = []
    for r, (low, high) in enumerate(zip(matrix.row_lower, matrix.row_upper, strict=True)):
        sense = "E" if low == high else "L" if low == -inf else "G"
        if sense == "G" and high < inf:
            raise ValueError(f"row {r} has two sides")
        lines.append(f" {sense} r{r}")
        value = float(low if sense == "G" else high)
        if value != 0.0:
            right.append(f" right r{r} {value!r}")
    lines.append("COLUMNS")
    for integer in (True, False):
        if integer:
            lines.append(" m1 'MARKER' 'INTORG'")
        for c in np.flatnonzero(matrix.integer == integer).tolist():
            lines.append(f" c{c} cost {float(matrix.cost[c])!r}")
            for k in order[first[c] : first[c + 1]].tolist():
                lines.append(f" c{c} r{row_of[k]} {float(matrix.value[k])!r}")
        if integer:
            lines.append(" m2 'MARKER' 'INTEND'")
    lines += ["RHS", *right, "BOUNDS"]
    lines += [f" UP b c{c} {float(v)!r}" for c, v in enumerate(matrix.col_upper) if v < inf]
    file.write_text("\n".join([*lines, "ENDATA"]) + "\n", encoding="ascii")
