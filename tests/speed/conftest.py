"""The benchmarks are scripts; their folder is put where their modules find each other."""

from __future__ import annotations

import sys
from pathlib import Path

BENCHMARKS = Path(__file__).resolve().parents[2] / "studies" / "benchmarks"
sys.path.insert(0, str(BENCHMARKS))
