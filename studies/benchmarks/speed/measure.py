"""Runs of one task each in a process of its own, watched from outside."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict, replace
from pathlib import Path

from speed.runs import Record, Task, from_json

#: A run is killed this long after its limit: the limit times a factor, and seconds on top.
GRACE = (1.5, 60.0)
_STEP_S = 0.02
#: How many characters of a crash are kept.
_WORDS = 300


def measure(task: Task, script: Path) -> Record:
    """Run a task through `script --one`.

    Peak memory is what the run tells of itself, else what the system counted of the process.
    """
    deadline = time.monotonic() + GRACE[0] * task.limit_s + GRACE[1]
    command = [sys.executable, str(script), "--one", json.dumps(asdict(task))]
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        child = subprocess.Popen(command, stdout=out, stderr=err, stdin=subprocess.DEVNULL)
        killed = False
        try:
            while True:
                pid, status, usage = os.wait4(child.pid, os.WNOHANG)
                if pid:
                    break
                if not killed and time.monotonic() > deadline:
                    child.kill()
                    killed = True
                time.sleep(_STEP_S)
        except BaseException:
            child.kill()
            os.waitpid(child.pid, 0)
            child.returncode = -9
            raise
        child.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        err.seek(0)
        told = out.read().decode(errors="replace").strip().splitlines()
        wrong = err.read().decode(errors="replace").strip()
    peak_mib = usage.ru_maxrss / 1024.0
    if killed:
        return Record(task, "killed", solve_s=task.limit_s, peak_mib=peak_mib)
    if child.returncode != 0 or not told:
        last = wrong.splitlines()[-1][:_WORDS] if wrong else f"exit code {child.returncode}"
        return Record(task, "crashed", fault=last, peak_mib=peak_mib)
    record = from_json(json.loads(told[-1]))
    return record if record.peak_mib else replace(record, peak_mib=round(peak_mib, 1))
