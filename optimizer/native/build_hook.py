"""Compiles the C parts when limbtrim is installed, where there is a C compiler.

Named in pyproject.toml. Without a compiler limbtrim is installed all the same and runs on numpy
alone, with the same answers, only later.
"""

from __future__ import annotations

import importlib.util
import os
import sysconfig
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class CompiledParts(BuildHookInterface):
    """Puts the library beside the sources: in the wheel, or in the tree that is edited."""

    PLUGIN_NAME = "compiled-parts"

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile before the wheel is put together."""
        if self.target_name != "wheel" or os.environ.get("LIMBTRIM_COMPILED") == "0":
            return
        native = Path(self.root) / "optimizer" / "native"
        spec = importlib.util.spec_from_file_location("sources", native / "sources.py")
        assert spec is not None and spec.loader is not None
        sources = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sources)
        edited = version == "editable"
        self._folder = tempfile.TemporaryDirectory()
        made = Path(self._folder.name) / sources.LIBRARY
        failed = sources.compiled(made)
        if failed:
            self.app.display_warning(f"limbtrim runs without its compiled parts: {failed}")
            return
        if edited:
            # whole or not at all: a library in use stays as it is for who has it open
            beside = native / f"{sources.LIBRARY}.new"
            beside.write_bytes(made.read_bytes())
            beside.replace(native / sources.LIBRARY)
            return
        build_data["force_include"][str(made)] = f"optimizer/native/{sources.LIBRARY}"
        build_data["pure_python"] = False
        # no part of Python's own interface is used: one wheel serves every Python 3
        platform = sysconfig.get_platform().replace("-", "_").replace(".", "_")
        build_data["tag"] = f"py3-none-{platform}"
