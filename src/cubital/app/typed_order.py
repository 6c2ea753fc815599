"""An order as it is typed, pasted or scanned: lines that name a test, lines that do not yet, and the answer so far."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import msgspec

from cubital.app.draws import dated, plan_order
from cubital.app.explanation import Explanation, Statement, basis_words, has_text
from cubital.app.moments_asked import MomentAsked, moments_asked
from cubital.app.plan_explanation import reasons_of
from cubital.app.tray import Tray, lay_tray
from cubital.app.unsettled import name_of, offers_of, said_of, with_unsettled
from cubital.app.wiring import order_of_words
from cubital.errors import CubitalError, OrderError
from cubital.model import Ask, Order, Plan, Site, Unsettled
from cubital.planning.asks import resolve_asks
from cubital.planning.directory import Directory, EntryKind
from cubital.planning.settling import unsettled_word

MOST_LINES, MOST_OFFERS = 250, 6
WHERE = "order"


class Offer(msgspec.Struct, frozen=True, kw_only=True):
    """One test or panel that a line may mean; `text` is the box with the line replaced by it."""

    kind: EntryKind
    key: str
    name: str
    text: str


class Doubt(msgspec.Struct, frozen=True, kw_only=True):
    """A line that names no test of the site, or several: nothing is guessed, near ones are offered.

    `is_unknown` is a name that the site may lack: who may edit the site can add it.
    """

    line: int
    text: str
    said: str
    offers: tuple[Offer, ...]
    is_unknown: bool = False


class Typed(msgspec.Struct, frozen=True, kw_only=True):
    """The order of the lines that are clear, None where there is none, and the lines that are not."""

    order: Order | None = None
    doubts: tuple[Doubt, ...] = ()
    repeats: tuple[str, ...] = ()


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """A test or panel of the order that is left out last: the word it was asked by, and its name."""

    word: str
    name: str


class Warned(msgspec.Struct, frozen=True, kw_only=True):
    """One caution of a plan with what it rests on."""

    level: str
    statement: Statement


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of a typed order: the plan of every line that is clear, or why there is none.

    `plan` None with neither `doubts` nor `refusal` means that nothing was typed. `moments` are the events that its
    draws are counted from, None where that is not known; `kept` are the tests that somebody chose to leave out last.
    """

    doubts: tuple[Doubt, ...] = ()
    repeats: tuple[str, ...] = ()
    refusal: CubitalError | None = None
    order: Order | None = None
    plan: Plan | None = None
    tray: Tray | None = None
    cautions: tuple[Warned, ...] = ()
    reasons: tuple[Explanation, ...] = ()
    moments: tuple[MomentAsked, ...] | None = None
    kept: tuple[Kept, ...] = ()


def answer_typed(
    text: str, fields: Mapping[str, Any], site: Site, *, directory: Directory, today: datetime.date,
    amend: Callable[[Order], Order] | None = None,
) -> Answer:  # fmt: skip
    """The plan of what was typed in the box, with the other fields of the order as an order file writes them.

    A line in doubt keeps no other line from its plan; the answer says which ones it leaves out. A test to keep that the
    lines do not ask for any more is let go. `amend` adds to the order what stands elsewhere, such as blood on record.

    >>> from cubital.app.wiring import open_site
    >>> site = open_site(demo=True)
    >>> found = answer_typed("K\\npotasium", {}, site, directory=Directory(site), today=datetime.date(2026, 11, 25))
    >>> [tube.kind for tube in found.plan.tubes], [offer.key for offer in found.doubts[0].offers][0]
    (['heparin-gel'], 'potassium')
    """
    lines = _lines_of(text, directory)
    known, unsettled, repeats = _sort_lines(lines, directory)
    found = Answer(doubts=_doubts(unsettled, lines, site), repeats=repeats)
    if len(lines) > MOST_LINES:
        refusal = OrderError(f"found {len(lines)} lines; expected at most {MOST_LINES}; split the order", where="tests")
        return Answer(refusal=refusal)
    if not known:
        return found
    moments, kept = _moments_of(known, site, directory), _kept_of(fields.get("keep", ()), known, site, directory)
    found = msgspec.structs.replace(found, moments=moments, kept=kept)
    try:
        words = {**fields, "tests": known, "keep": [one.word for one in kept]}
        order = dated(order_of_words(words, where=WHERE, today=today, zone=site.time_zone), today)
        order = order if amend is None else amend(order)
        plan = with_unsettled(plan_order(order, site, today=today), tuple(unsettled.values()))
    except CubitalError as error:
        return msgspec.structs.replace(found, refusal=error)
    return msgspec.structs.replace(
        found, order=order, plan=plan, tray=lay_tray(plan, order, site), cautions=cautions_of(plan),
        reasons=reasons_of(plan),
    )  # fmt: skip


def _moments_of(known: Sequence[str], site: Site, directory: Directory) -> tuple[MomentAsked, ...] | None:
    try:
        return moments_asked([Ask(test=line) for line in known], site, directory)
    except CubitalError:
        return None  # the plan of the same lines says what is wrong with them


def _kept_of(words: Sequence[str], known: Sequence[str], site: Site, directory: Directory) -> tuple[Kept, ...]:
    """Those of these words that stand for something the lines ask for, each once."""
    if not words:
        return ()
    asked = {test for line in known for test in _tests_of(line, site, directory)}
    kept = [word for word in dict.fromkeys(words) if asked & _tests_of(word, site, directory)]
    return tuple(Kept(word=word, name=name_of(directory.resolve(word)[1], site)) for word in kept)


def _tests_of(word: str, site: Site, directory: Directory) -> frozenset[str]:
    """The tests that a word stands for; none where the directory does not know it."""
    try:
        return frozenset(one.test for one in resolve_asks(Order(asks=(Ask(test=word),)), site, directory))
    except OrderError:
        return frozenset()


def read_typed(
    text: str, fields: Mapping[str, Any], site: Site, *, directory: Directory, today: datetime.date
) -> Typed:
    """The order of what was typed in the box, without a plan; raises `OrderError` for what is no order at all."""
    lines = _lines_of(text, directory)
    if len(lines) > MOST_LINES:
        raise OrderError(f"found {len(lines)} lines; expected at most {MOST_LINES}; split the order", where="tests")
    known, unsettled, repeats = _sort_lines(lines, directory)
    words = {**fields, "tests": known}
    order = order_of_words(words, where=WHERE, today=today, zone=site.time_zone) if known else None
    return Typed(order=order, doubts=_doubts(unsettled, lines, site), repeats=repeats)


def _lines_of(text: str, directory: Directory) -> list[str]:
    """One test a line; a line of several with commas or semicolons between is taken apart unless it is one name."""
    lines: list[str] = []
    for line in text[:20_000].splitlines():
        whole = " ".join(line.split())
        if not whole:
            continue
        parts = [part.strip() for part in whole.replace(";", ",").split(",")]
        lines += [whole] if len(parts) == 1 or len(directory.look_up(whole)) == 1 else [part for part in parts if part]
    return lines


def _sort_lines(
    lines: Sequence[str], directory: Directory
) -> tuple[list[str], dict[int, Unsettled], tuple[str, ...]]:
    """The lines that are clear, those that are not by their place, and those written twice."""
    known: dict[str, str] = {}
    unsettled: dict[int, Unsettled] = {}
    repeats = []
    for place, line in enumerate(lines):
        if line.casefold() in known:
            repeats.append(line)
            continue
        found = unsettled_word(line, directory, where=f"line {place + 1}")
        if found is None:
            known[line.casefold()] = line
        else:
            unsettled[place] = found
    return list(known.values()), unsettled, tuple(repeats)


def _doubts(unsettled: Mapping[int, Unsettled], lines: Sequence[str], site: Site) -> tuple[Doubt, ...]:
    return tuple(
        Doubt(
            line=place + 1,
            text=lines[place][:80],
            said=said_of(one),
            offers=tuple(
                Offer(
                    kind="test" if key in site.tests else "panel",
                    key=key,
                    name=name_of(key, site),
                    text="\n".join((*lines[:place], key, *lines[place + 1 :])),
                )
                for key in offers_of(one)[:MOST_OFFERS]
            ),
            is_unknown=one.trouble == "unknown",
        )
        for place, one in unsettled.items()
    )


def cautions_of(plan: Plan) -> tuple[Warned, ...]:
    """The cautions of a plan, each with what it rests on."""
    return tuple(
        Warned(
            level=caution.level,
            statement=Statement(
                text=caution.text,
                rests_on=basis_words(caution.basis, caution.sources),
                sources=tuple(key for key in caution.sources if has_text(key)),
            ),
        )
        for caution in plan.cautions
    )
