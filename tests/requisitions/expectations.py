"""What may be expected of a plan. `tests.requisitions.checks` says whether a plan meets it.

Words are looked for without regard to case: `"next|following dose"` is met by one text that holds *dose* and one of the
two others. Tests are keys of the directory, kinds keys of the stock, and `a|b` among `kinds` is either of the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Literal

import msgspec

Pairs = tuple[tuple[str, str], ...]


class Due(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The instants that a draw may not begin before or end after; one of them at least."""

    draw: int
    not_before: datetime | None = None
    not_after: datetime | None = None

    def __post_init__(self) -> None:
        if self.not_before is None and self.not_after is None:
            raise ValueError("found neither not_before nor not_after; such a draw cannot fail to be due")


class Expect(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is expected. What is left out is not looked at.

    `says` looks at all that the collector is told (cautions, the draws with their steps and questions, why a test is
    left out), `steps`, `asks` and `reasons_say` at these alone. `blood_*` is what leaves the patient for good.
    """

    refused: str | None = None
    draws: int | None = None
    minutes: tuple[int, ...] = ()
    draw_of: Mapping[str, int] = {}
    drawn_before: Pairs = ()
    separate_draws: Pairs = ()
    same_draw: Pairs = ()
    due: tuple[Due, ...] = ()
    tubes: int | None = None
    kinds: tuple[str, ...] = ()
    kinds_in_order: tuple[str, ...] = ()
    first_kind: str | None = None
    kind_of: Mapping[str, tuple[str, ...]] = {}
    not_in: Mapping[str, tuple[str, ...]] = {}
    same_kind: tuple[str, ...] = ()
    handled: Mapping[str, tuple[str, ...]] = {}
    never_together: Pairs = ()
    same_tube: Pairs = ()
    left_out: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    nothing_left_out: bool = False
    offers: tuple[str, ...] = ()
    blood_at_most_ml: float | None = None
    blood_at_least_ml: float | None = None
    within_limit: bool = False
    sets: int | None = None
    culture_at_least_ml: float | None = None
    culture_at_most_ml: float | None = None
    discard: Literal["none", "before-first", "returned"] | None = None
    discards: int | None = None
    discard_at_least_ml: float | None = None
    discard_at_most_ml: float | None = None
    objective: str | None = None
    optimal: bool = False
    says: tuple[str, ...] = ()
    never_says: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    asks_nothing: bool = False
    reasons_say: tuple[str, ...] = ()


def stated(expect: Expect) -> Mapping[str, Any]:
    """The expectations that a case states, by key; raises `ValueError` for words or lists that hold nothing."""
    found = {}
    for field in msgspec.structs.fields(Expect):
        value = getattr(expect, field.name)
        if not (value is None or value is False or value == () or value == {}):
            found[field.name] = value
    for key, value in found.items():
        texts = [value] if isinstance(value, str) else value if isinstance(value, tuple) else ()
        if any(isinstance(text, str) and not all(alternatives(text) or [[]]) for text in texts):
            raise ValueError(f"expect.{key}: found a text without words")
    return found


def asked_of(expect: Expect) -> tuple[set[str], set[str]]:
    """The tests and the kinds that the expectations name."""
    tests: set[str] = set(expect.kept) | set(expect.left_out) | set(expect.offers) | set(expect.same_kind)
    for pairs in ("never_together", "same_tube", "separate_draws", "same_draw", "drawn_before"):
        tests.update(test for pair in getattr(expect, pairs) for test in pair)
    for by_test in (expect.draw_of, expect.kind_of, expect.not_in, expect.handled):
        tests.update(by_test)
    kinds = {kind for text in (*expect.kinds, *expect.kinds_in_order) for kind in text.split("|")}
    kinds.update(kind for by_test in (expect.kind_of, expect.not_in) for many in by_test.values() for kind in many)
    return tests, kinds | ({expect.first_kind} if expect.first_kind else set())


def holds(text: str, words: str) -> bool:
    """Whether this text holds all of these words, each in one of its alternatives.

    >>> holds("Time of the next vancomycin dose", "vancomycin next|following")
    True
    """
    folded = text.casefold()
    return all(any(one in folded for one in options) for options in alternatives(words))


def alternatives(words: str) -> list[list[str]]:
    """The words, each as its alternatives."""
    return [[one for one in word.split("|") if one] for word in words.casefold().split()]
