"""A draw in words: what must be known and done before its first tube, and how its labels tell it from the others."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime
from typing import Literal

import msgspec

from cubital import facts
from cubital.app.wiring import say_local
from cubital.model import Draw, Plan, PlannedTube, Site

BeforeKey = Literal["when", "due", "ask", "do first"]
_MINUTE = re.compile(r"draw at (\d+ min)\b")
# What a further set of a culture is called by planning; its number tells it, not its site.
_SET = "another site: "
_FIRST_SET = "culture set 1"
_AND = "; "
_WHOLE = frozenset({"the draw", "the first draw", "another draw"})


class Before(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to know or to do before the first tube of a draw."""

    flag: BeforeKey
    text: str

    @property
    def words(self) -> str:
        """The flag and the text in one line."""
        return f"{self.flag}: {self.text}"


def before_words(draw: Draw, site: Site) -> tuple[Before, ...]:
    """What must be known and done before this draw, in order: its moment, its times, what to ask, its steps."""
    due = due_words(draw, site)
    return (
        *(Before(flag="when", text=text) for text in (draw.moment,) if text),
        *(Before(flag="due", text=text) for text in (due,) if text),
        *(Before(flag="ask", text=text) for text in draw.asks),
        *(Before(flag="do first", text=text) for text in draw.steps),
    )


def due_words(draw: Draw, site: Site) -> str:
    """Between which times this draw is due, by the clocks of the site; empty where no event fixes it."""
    early, late = (None if at is None else _minute(at, site) for at in (draw.due_from, draw.due_to))
    if early is None or late is None:
        return f"from {early}" if early else f"by {late}" if late else ""
    if early == late:
        return early
    day = early[:10]
    return f"{day}, {early[11:]} to {late[11:]}" if late[:10] == day else f"{early} to {late}"


def _minute(at: datetime, site: Site) -> str:
    """The instant to the minute, with its offset where the clocks show that minute twice."""
    said = say_local(at, site)
    return said[:16] + said[19:]


def tags_of(plan: Plan, site: Site) -> tuple[str, ...]:
    """For each tube the few words that its label carries of its draw: the minute of a series, the trough, the peak.

    Tubes of two draws never carry the same words. A tube of one draw whose tests have no moment carries none.
    """
    labels = {draw.number: draw.label.split(_AND) for draw in plan.draws}
    tags = [_tag_of(tube, labels[tube.draw], plan, site) for tube in plan.tubes]
    if len(plan.draws) == 1:
        return tuple(tags)
    draws: dict[str, set[int]] = {}
    for tube, tag in zip(plan.tubes, tags, strict=True):
        draws.setdefault(tag, set()).add(tube.draw)
    places = [f"draw {tube.draw}" for tube in plan.tubes]
    return tuple(
        tag if tag and len(draws[tag]) == 1 else f"{place}, {tag}" if tag else place
        for tag, place in zip(tags, places, strict=True)
    )


def tag_of(draw: Draw) -> str:
    """What the whole draw is, in few words; empty for a draw of no moment.

    >>> tag_of(Draw(number=1, at_min=0, label="fasting; before the drink of 75 g of glucose"))
    'fasting, before drink'
    """
    return ", ".join(dict.fromkeys(short_words(part) for part in draw.label.split(_AND) if part not in _WHOLE))


def _tag_of(tube: PlannedTube, parts: list[str], plan: Plan, site: Site) -> str:
    """The parts of the draw's label in few words; a moment of other tubes' tests is theirs alone."""
    here = _moments(tube.tests, site)
    others = _moments([test for one in plan.tubes if one.draw == tube.draw for test in one.tests], site)
    said = [part for part in parts if part not in _WHOLE and (part in here or part not in others)]
    is_first_set = tube.purpose == "culture" and not any(part.startswith(_SET) for part in parts)
    if is_first_set and any(draw.label.startswith(_SET) for draw in plan.draws):
        said.append(_FIRST_SET)
    return ", ".join(dict.fromkeys(short_words(part) for part in said))


def _moments(tests: Iterable[str], site: Site) -> frozenset[str]:
    """The labels of the moments of these tests."""
    keys = (site.tests[test].moment for test in tests)
    return frozenset(facts.moments()[key].label for key in keys if key is not None)


def short_words(part: str) -> str:
    """One part of a draw's label in as few words as tell it from another draw of the same test.

    >>> short_words("peak: 1 to 2 h after the infusion of vancomycin")
    'peak'
    >>> short_words("draw at 120 min after the drink of 75 g of glucose")
    '120 min'
    >>> short_words("before the drink of 75 g of glucose")
    'before drink'
    """
    if part.startswith(_SET):
        return part.removeprefix(_SET)
    minute = _MINUTE.match(part)
    if minute is not None:
        return minute[1]
    head, colon, _ = part.partition(": ")
    if colon:
        return head.partition(" for ")[0]
    time, after, _ = part.partition(" after ")
    if after:
        return time
    time, before, _ = part.partition(" before ")
    if before:
        return f"{time} before"
    few = re.split(", | or a ", part)[0]
    if few.startswith("before "):
        few = few.partition(" of ")[0]
    return few.replace("the ", "")
