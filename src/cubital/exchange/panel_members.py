"""The tests that panels name: those that the site does not have, and those named twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Mapping

from cubital.exchange.table import near_misses
from cubital.model import Finding, Panel, Test
from cubital.planning.spellings import fold


def look_at_members(
    panels: Mapping[str, Panel], tests: Mapping[str, Test], *, written: Container[str], file: str
) -> list[Finding]:
    """A finding for every test of a site's panels that the site does not have, and for each named twice.

    A test that stands in the site's file, `written`, and could not be read has its own finding there.
    """
    found = []
    for panel in panels.values():
        for path, words_there in (
            ("tests", panel.tests), *((f"series[{i}].tests", step.tests) for i, step in enumerate(panel.series)),
        ):  # fmt: skip
            for word, count in Counter(words_there).items():
                entry, shown = f"[{panel.key}] {path}", f'"{word[:60]}"'
                if word in panels and word not in tests:
                    found.append(
                        Finding(
                            level="error", file=file, entry=entry,
                            found=f"{shown}, the panel itself" if word == panel.key else f"{shown}, a panel",
                            expected="the keys of tests alone", remedy="write the tests that it holds, or take it out",
                        )
                    )  # fmt: skip
                elif word not in tests and word not in written:
                    found.append(
                        Finding(
                            level="error", file=file, entry=entry, found=shown,
                            expected="the key of a test of this site", remedy=_member_remedy(word, tests),
                        )
                    )  # fmt: skip
                elif count > 1:
                    found.append(
                        Finding(
                            level="warning", file=file, entry=entry, found=f"{shown} {count} times",
                            expected="each test once",
                            remedy="take one out, or write the test that was meant in its place",
                        )
                    )  # fmt: skip
    return found


def _member_remedy(word: str, tests: Mapping[str, Test]) -> str:
    """What to write for this word: the keys of the tests that go by it, else the one that it is a slip for."""
    meant = fold(word)
    named = [test.key for test in tests.values() if meant and meant in map(fold, (test.name, *test.also))]
    if named:
        return f"write {' or '.join(named[:4])}"
    near = near_misses(word, tests)
    return f"write {near[0]}" if near else "add the test, or take it out"


def members(panel: Panel) -> tuple[str, ...]:
    """The tests that a panel stands for, each once, its series included."""
    return tuple(dict.fromkeys((*panel.tests, *(t for step in panel.series for t in step.tests))))
