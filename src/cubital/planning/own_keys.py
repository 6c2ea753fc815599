"""Tests that a site calls by a key of its own, where the shipped facts know the test by another one."""

from __future__ import annotations

from collections.abc import Iterator

from cubital import facts
from cubital.model import Finding, Site, Test
from cubital.planning.directory import Directory


def find_own_keys(site: Site, shipped: Site) -> Iterator[Finding]:
    """A note for each test of the site that by its names and LOINC code is one shipped test under another key.

    How long a specimen keeps, and what hemolysis does to a result, is a shipped fact of a test, found by its key alone.
    """
    directory = Directory(shipped)
    for test in site.tests.values():
        key = _shipped_key(test, directory)
        if key is not None and test.key not in facts.stability() and key in facts.stability() and key not in site.tests:
            yield Finding(
                level="note",
                file="tests.toml",
                entry=f"[{test.key}]",
                found=f"a key that no window is known for; by its names it may be the shipped {key}",
                expected="the shipped key of a shipped test, so that board, receipt and add-on know how long it keeps",
                remedy="where it is the same test, write that key in brackets, and your own as its name",
            )


def _shipped_key(test: Test, directory: Directory) -> str | None:
    """The one shipped test that the LOINC code or, without one, the names of this test stand for."""
    loinc = test.codes.get("loinc")
    words = (loinc,) if loinc is not None else (test.key, test.name, *test.also)
    found = {entry for word in words for entry in directory.look_up(word)}
    kind, key = found.pop() if len(found) == 1 else ("none", None)
    return key if kind == "test" else None
