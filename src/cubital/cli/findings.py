"""Findings at the prompt: every error on its own, warnings and notes of one kind together where there are many."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cubital.model import Finding

MOST_ALIKE = 3
MOST_NAMED = 8
_ENTRY = re.compile(r"^.*?\[([^\]]*)\]\)?")


def finding_lines(findings: Sequence[Finding], *, is_all: bool = False) -> Iterator[str]:
    """The findings in words; of more than three warnings of one kind the first, how many, and where the others are.

    With `is_all` each stands on its own, as every error always does.
    """
    for kind in kinds_of(findings):
        first, *others = kind
        if is_all or first.level == "error" or len(kind) <= MOST_ALIKE:
            yield from (f"{one.level}: {one}" for one in kind)
            continue
        yield f"{first.level}: {len(kind)} like this: {first}"
        named = ", ".join(_owner(one) for one in others[:MOST_NAMED])
        more = f" and {len(others) - MOST_NAMED} more" if len(others) > MOST_NAMED else ""
        yield f"  also {named}{more}"


def kinds_of(findings: Iterable[Finding]) -> list[list[Finding]]:
    """The findings by kind, kinds in the order of their first: of one level, file, field and remedy."""
    kinds: dict[tuple[str, ...], list[Finding]] = {}
    for one in findings:
        field = re.sub(r"\[[0-9]+\]", "", _ENTRY.sub("", one.entry, count=1))
        kinds.setdefault((one.level, one.file, field, one.remedy), []).append(one)
    return list(kinds.values())


def count_findings(findings: Sequence[Finding], *, is_all: bool = False) -> str:
    """How many there are and, where some stand together, of how many kinds and how to see each.

    >>> count_findings(())
    'no findings'
    """
    count = len(findings)
    said = f"{count or 'no'} finding{'' if count == 1 else 's'}"
    kinds = kinds_of(findings)
    is_short = not is_all and any(len(kind) > MOST_ALIKE and kind[0].level != "error" for kind in kinds)
    return f"{said} of {len(kinds)} kind{'' if len(kinds) == 1 else 's'}; --all tells each" if is_short else said


def _owner(one: Finding) -> str:
    match = _ENTRY.match(one.entry)
    return match[1] if match is not None else one.entry
