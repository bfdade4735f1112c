"""Running what documentation prints: commands, files it shows, Python it executes.

Blocks understood, in order, in one folder per document:

- ```console: every `$ limbtrim ...` is run; lines under it are its output, where `[...]` stands
  for any lines; `# exit code N` after a command is the code it must end with (else 0);
- ```python: executed in one namespace; a ```text block right after it is what it printed;
- a fenced block after `<!-- file: NAME -->` is written to that file;
- a ```python block after `<!-- needs a cluster: not run -->` is not run.

With LIMBTRIM_REFRESH set in the environment, shown output is replaced by what was found.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
from dataclasses import dataclass
from pathlib import Path

import optimizer
from tests.running import run_here

ROOT = Path(optimizer.__file__).parents[1]
DOCS = ROOT / "optimizer" / "docs"
GAP = "[...]"
_FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_CODE = re.compile(r"\s+# exit code (\d+)$")
_ELSEWHERE = "<!-- needs a cluster: not run -->\n"
_FILE = re.compile(r"<!-- file: (\S+) -->\n\Z")


@dataclass(frozen=True)
class Block:
    """A fenced block, where it stands in the text, and the file it is to become."""

    language: str
    body: str
    start: int
    end: int
    file: str | None
    elsewhere: bool
    """Whether it is marked as needing what no test has, such as a cluster."""


@dataclass(frozen=True)
class Shown:
    """A command with the output printed under it, and the code it ends with."""

    command: str
    code: int
    output: str


def blocks(text: str) -> list[Block]:
    found = []
    for match in _FENCE.finditer(text):
        before = text[: match.start()]
        named = _FILE.search(before)
        found.append(
            Block(match[1], match[2], match.start(2), match.end(2), named[1] if named else None,
                  before.endswith(_ELSEWHERE))
        )  # fmt: skip
    return found


def commands(body: str) -> list[Shown]:
    shown: list[Shown] = []
    for line in body.splitlines():
        if line.startswith("$ "):
            said = line.removeprefix("$ ")
            code = _CODE.search(said)
            shown.append(Shown(_CODE.sub("", said), int(code[1]) if code else 0, ""))
        elif shown:
            last = shown[-1]
            shown[-1] = Shown(last.command, last.code, last.output + line + "\n")
    return shown


def run(command: str) -> tuple[int, str, str]:
    """A limbtrim command in this process, nothing being a terminal."""
    words = shlex.split(command)
    assert words[0] == "limbtrim", command
    return run_here(words[1:])


def matches(shown: str, found: str) -> bool:
    """Whether the shown lines are the found ones, `[...]` standing for any."""
    lines = [line.rstrip() for line in shown.rstrip().splitlines()]
    pattern = r"\n".join(r"(?:.*\n)*?.*" if line == GAP else re.escape(line) for line in lines)
    said = "\n".join(line.rstrip() for line in found.rstrip().splitlines())
    return re.fullmatch(pattern, said) is not None


def refreshed(shown: str, found: str) -> str:
    """The shown output with the numbers found: as many lines at each end, `[...]` kept."""
    found = "\n".join(line.rstrip() for line in found.rstrip().splitlines())
    if GAP not in shown:
        return found + "\n"
    before, _, after = shown.partition(GAP + "\n")
    lines = found.splitlines()
    head, tail = lines[: before.count("\n")], after.count("\n")
    ends = lines[len(lines) - tail :] if tail else []
    return "\n".join([*head, GAP, *ends]) + "\n"


class Document:
    """A document that can be run from top to bottom."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.text = path.read_text(encoding="utf-8")

    def run(self, folder: Path) -> list[str]:
        """Every command and Python block, in `folder`; what did not come out as printed."""
        wrong: list[str] = []
        edits: list[tuple[int, int, str]] = []
        names: dict[str, object] = {}
        printed = None
        with contextlib.chdir(folder):
            for block in blocks(self.text):
                if block.file is not None:
                    (folder / block.file).write_text(block.body, encoding="utf-8")
                elif block.language == "console":
                    edits.append((block.start, block.end, self._console(block, wrong)))
                elif block.language == "python" and not block.elsewhere:
                    out = io.StringIO()
                    with contextlib.redirect_stdout(out):
                        exec(compile(block.body, self.path.name, "exec"), names)
                    printed = out.getvalue()
                    continue
                elif block.language == "text" and printed is not None:
                    if not matches(block.body, printed):
                        wrong.append(f"printed:\n{printed}")
                    edits.append((block.start, block.end, refreshed(block.body, printed)))
                printed = None
        if os.environ.get("LIMBTRIM_REFRESH"):
            text = self.text
            for start, end, new in reversed(edits):
                text = text[:start] + new + text[end:]
            if text != self.text:
                self.path.write_text(text, encoding="utf-8")
            return [w for w in wrong if w.startswith("exit code")]
        return wrong

    @staticmethod
    def _console(block: Block, wrong: list[str]) -> str:
        body = block.body
        for shown in commands(block.body):
            code, out, err = run(shown.command)
            if code != shown.code:
                wrong.append(f"exit code {code} of `{shown.command}`:\n{out[-800:]}{err[-800:]}")
            elif shown.output and not matches(shown.output, out):
                wrong.append(f"`{shown.command}` said:\n{out}")
            if shown.output:
                body = body.replace(shown.output, refreshed(shown.output, out), 1)
        return body
