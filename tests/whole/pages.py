"""The pages of docs/: the files that they name, and their commands run as a reader would run them.

A block `json title=FILE`, `toml title=FILE` or `jsonl title=FILE` is that file. A block `console` holds commands, each
after `$ `, with what they print below, errors after the rest; a line of `…` stands for any lines, at the end of a line
for its rest. `console status=N`
says how its last command ends, else 0. `python -m tests.whole.pages` writes what each command prints now into the
blocks without `…`.
"""

from __future__ import annotations

import os
import re
import shlex
import tempfile
from collections.abc import Iterator
from contextlib import chdir
from pathlib import Path
from typing import NamedTuple
from unittest import mock

from tests.unit.cli.prompt import say

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
ANYTHING = "…"
_BLOCK = re.compile(r"^```(\w+)([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


class Block(NamedTuple):
    """One fenced block: its language, what stands after it, its text, and where its text is in the page."""

    language: str
    info: str
    text: str
    start: int
    end: int

    def option(self, name: str) -> str | None:
        """The value of `name=value` after the language."""
        found = re.search(rf"\b{name}=(\S+)", self.info)
        return None if found is None else found[1]


class Step(NamedTuple):
    """One command of a page: its words, what the page says it prints, what it printed, and how it ended."""

    command: str
    written: list[str]
    printed: list[str]
    status: int
    expected_status: int


def pages() -> list[Path]:
    """Every page of the docs."""
    return sorted(DOCS.rglob("*.md"))


def blocks_of(text: str) -> Iterator[Block]:
    """The fenced blocks of a page."""
    for match in _BLOCK.finditer(text):
        yield Block(match[1], match[2], match[3], match.start(3), match.end(3))


def walk(page: Path, folder: Path) -> list[tuple[Block, list[Step]]]:
    """Each console block of the page with its commands run in `folder`, files laid out as the page names them."""
    found = []
    with chdir(folder), mock.patch.dict(os.environ, {"COLUMNS": "80", "LANG": "C.UTF-8"}):
        for block in blocks_of(page.read_text(encoding="utf-8")):
            title = block.option("title")
            if title is not None:
                Path(title).parent.mkdir(parents=True, exist_ok=True)
                Path(title).write_text(block.text, encoding="utf-8")
            elif block.language == "console":
                found.append((block, _run(block)))
    return found


def _run(block: Block) -> list[Step]:
    commands: list[tuple[str, list[str]]] = []
    for line in block.text.splitlines():
        if line.startswith("$ "):
            commands.append((line[2:], []))
        else:
            commands[-1][1].append(line)
    steps = []
    last = int(block.option("status") or 0)
    for number, (command, written) in enumerate(commands, start=1):
        name, *arguments = shlex.split(command)
        if name != "cubital":
            raise ValueError(f"{command!r}: a page runs cubital only")
        said = say(*arguments)
        printed = (said.out + said.err).splitlines()
        steps.append(Step(command, written, printed, said.status, last if number == len(commands) else 0))
    return steps


def is_as_written(step: Step) -> bool:
    """Whether a command printed what the page says; `…` alone stands for any lines, at an end for the rest of one."""
    pattern = "\n".join(_pattern_of(line) for line in step.written)
    return re.fullmatch(pattern, "\n".join(step.printed)) is not None


def _pattern_of(line: str) -> str:
    if line == ANYTHING:
        return "(?:.*\n)*?.*"
    return re.escape(line.removesuffix(ANYTHING)) + (".*" if line.endswith(ANYTHING) else "")


def is_shortened(step: Step) -> bool:
    """Whether the page leaves out some of what the command prints."""
    return any(line.endswith(ANYTHING) for line in step.written)


def rewrite(page: Path) -> None:
    """Write what each command prints into the page's blocks, except where the page leaves lines out."""
    text = page.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        for block, steps in reversed(walk(page, Path(folder))):
            lines = [
                line
                for step in steps
                for line in (f"$ {step.command}", *(step.written if is_shortened(step) else step.printed))
            ]
            text = text[: block.start] + "\n".join(lines) + "\n" + text[block.end :]
    page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    for each in pages():
        rewrite(each)
