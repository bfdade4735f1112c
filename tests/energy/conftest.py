from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import pytest

DATA = Path(__file__).resolve().parent.parent / "data"


@dataclass(frozen=True)
class PlainWearer:
    """Nothing but what the energy models ask for."""

    mass_kg: float = 75.0
    stature_m: float = 1.75
    foot_radius_m: float = 0.90


@dataclass(frozen=True)
class Check:
    value: float
    rel_tol: float
    source: str

    def close(self) -> object:
        return pytest.approx(self.value, rel=self.rel_tol)


@pytest.fixture(scope="session")
def checks() -> dict[str, Check]:
    """Values with their source, from check_energy.csv."""
    with (DATA / "check_energy.csv").open(encoding="utf-8", newline="") as table:
        return {
            r["id"]: Check(float(r["value"]), float(r["rel_tol"]), r["source"])
            for r in csv.DictReader(table)
        }


@pytest.fixture
def wearer() -> PlainWearer:
    return PlainWearer()


@pytest.fixture
def make_wearer() -> type[PlainWearer]:
    return PlainWearer
