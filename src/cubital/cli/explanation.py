"""Explanations in a terminal: statements, each followed by what it rests on, and the sources at the end."""

from __future__ import annotations

from collections.abc import Iterable

from cubital.app.explanation import Explanation, citations
from cubital.cli.sheet import Sheet


def draw_explanations(explanations: Iterable[Explanation], sheet: Sheet) -> list[str]:
    """The lines of these explanations and, once, every source that they name."""
    told = tuple(explanations)
    lines: list[str] = []
    for explanation in told:
        lines += ["", *(sheet.mark(line, "strong") for line in sheet.wrap(explanation.title))]
        for section in explanation.sections:
            lines += [f"  {section.title}"]
            for statement in section.statements:
                lines += sheet.wrap(statement.text, first=f"    {sheet.glyphs.bullet} ", rest="      ")
                rests = sheet.wrap(f"[{statement.rests_on}]", first="      ")
                lines += [sheet.mark(line, "faint") for line in rests]
    cited = citations(told)
    if cited:
        lines += ["", sheet.mark("Sources", "strong")]
        for key, text in cited:
            lines += sheet.wrap(f"{key}: {text}", first="  ", rest="    ")
    return lines[1:]
