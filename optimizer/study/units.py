"""How many of the units of files and tables make one SI unit; dividing keeps decimals exact."""

from __future__ import annotations

G_PER_KG = 1000.0
MM_PER_M = 1000.0
CM2_PER_M2 = 1e4
CM3_PER_M3 = 1e6
PERCENT = 100.0
CM_PER_M = 100.0
KPA_PER_PA = 1e-3
S_PER_H = 3600.0
