"""Writes docs/reference/facts.md: every shipped fact with its mark and every source, from the facts themselves.

Run it after changing a fact: `.venv/bin/python scripts/write_facts_reference.py`. A test compares the page.
"""

from __future__ import annotations

from pathlib import Path

from facts_reference.blood import volumes
from facts_reference.carry_over import doses, measured
from facts_reference.chair import at_the_chair, labels, orders_of_draw
from facts_reference.counts import counts
from facts_reference.directory import after_the_draw, directory
from facts_reference.frame import defaults, sources
from facts_reference.moments import moments_of_draws
from facts_reference.results import weighed
from facts_reference.tubes import additives, after_filling, tubes

from cubital import facts

PAGE = Path(__file__).resolve().parents[1] / "docs" / "reference" / "facts.md"


def facts_page() -> str:
    """The whole page."""
    parts = [
        "# Facts",
        f"Generated from the shipped facts, edition {facts.edition()}, by `scripts/write_facts_reference.py`; a test "
        "compares it. The marks are explained in [sources](../explanation/sources.md). Rival figures stand side by "
        "side, the preferred one first.",
        *tubes(),
        *additives(),
        *doses(),
        *measured(),
        *weighed(),
        *after_filling(),
        *orders_of_draw(),
        *volumes(),
        *at_the_chair(),
        *labels(),
        *after_the_draw(),
        *directory(),
        *moments_of_draws(),
        *defaults(),
        *counts(),
        *sources(),
    ]
    return "\n\n".join(parts) + "\n"


if __name__ == "__main__":
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(facts_page(), encoding="utf-8")
    print(f"wrote {PAGE.name}")
