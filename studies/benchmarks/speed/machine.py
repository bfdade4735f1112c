"""The machine and the libraries, in words that name no place."""

from __future__ import annotations

import os
import platform
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

#: Libraries whose versions matter to the times.
LIBRARIES = ("limbtrim", "numpy", "scipy", "highspy", "ortools", "pyscipopt")


def machine() -> dict[str, Any]:
    """CPU model, cores, memory, system, Python and library versions."""
    return {
        "cpu": _cpu(),
        "cores": os.cpu_count() or 0,
        "memory_gib": round(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30, 1),
        "system": platform.system(),
        "python": platform.python_version(),
        "libraries": {name: found for name in LIBRARIES if (found := _version(name))},
    }


def described(found: dict[str, Any]) -> str:
    """A machine in one sentence."""
    libraries = ", ".join(f"{name} {v}" for name, v in found["libraries"].items())
    return (
        f"{found['cpu']}, {found['cores']} cores, {found['memory_gib']:g} GiB, {found['system']}; "
        f"Python {found['python']}; {libraries}"
    )


def _cpu() -> str:
    file = Path("/proc/cpuinfo")
    if file.exists():
        for line in file.read_text(encoding="utf-8", errors="replace").splitlines():
            if line.startswith("model name"):
                return " ".join(line.split(":", 1)[1].split())
    return platform.processor() or platform.machine()


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return ""
