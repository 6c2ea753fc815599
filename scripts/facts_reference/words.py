"""How the page writes: a table, a mark, a span, a volume."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from cubital import facts
from cubital.units import millilitres_text


def table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A Markdown table; a bar inside a cell is escaped."""
    lines = [" | ".join(heads), " | ".join("---" for _ in heads)]
    lines += [" | ".join(str(cell).replace("|", "\\|").replace("\n", " ") or "—" for cell in row) for row in rows]
    return "\n".join(f"| {line} |" for line in lines)


def mark_text(mark: facts.Mark) -> str:
    """A mark in words: its label, where in the source, and its note."""
    words = mark.label()
    if mark.locator is not None:
        words += f", {mark.locator}"
    return words if mark.note is None else f"{words} ({mark.note})"


def marks_text(marks: Iterable[facts.Mark]) -> str:
    """Several marks in one cell."""
    return "; ".join(mark_text(mark) for mark in marks)


def mark_of(raw: Any) -> str:
    return mark_text(facts.Mark(**raw))


def span_text(low: object, high: object, unit: str) -> str:
    return f"{low} {unit}" if low == high else f"{low}-{high} {unit}"


def ml_text(volume_ul: int | None) -> str:
    return "" if volume_ul is None else f"{millilitres_text(volume_ul)} mL"
