"""The C sources of the compiled parts, what tells one version from another, and compiling them.

Used when limbtrim is installed (`build_hook`) and, for what tells versions apart, when the compiled
library is loaded. Standard library only: nothing else is there yet while installing.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
#: What the library is called beside the sources.
LIBRARY = "_compiled.dll" if sys.platform == "win32" else "_compiled.so"
#: Compilers tried in order, after the one that the environment names.
_COMPILERS = ("cc", "gcc", "clang")
# no fused multiply-add: sums come out the same on every machine
_FLAGS = ("-O3", "-std=c11", "-shared", "-ffp-contract=off")


def digest() -> str:
    """What the sources come to; a library made of others is not used."""
    found = hashlib.sha256()
    for path in sorted([*HERE.glob("*.c"), *HERE.glob("*.h")]):
        found.update(path.name.encode())
        found.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return found.hexdigest()[:16]


def compiled(target: Path) -> str:
    """Compile the sources to a library; "" if that worked, else why not, in one line."""
    named = os.environ.get("CC", "").split()
    reasons: list[str] = []
    for words in ([named] if named else []) + [[name] for name in _COMPILERS]:
        if shutil.which(words[0]) is None:
            continue
        flags = [*_FLAGS, f'-DDIGEST="{digest()}"']
        if sys.platform != "win32":
            flags.append("-fPIC")
        sources = [str(path) for path in sorted(HERE.glob("*.c"))]
        command = [*words, *flags, *sources, "-o", str(target), "-lm"]
        run = subprocess.run(command, capture_output=True, text=True, check=False)
        if run.returncode == 0:
            return ""
        lines = run.stderr.strip().splitlines()
        reasons.append(f"{words[0]} failed: {lines[0] if lines else run.returncode}")
    return reasons[0] if reasons else "no C compiler found"
