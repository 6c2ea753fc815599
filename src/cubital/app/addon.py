"""Adding tests and drawing again as use cases: which specimen serves what, and the least new draw for the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from cubital.app.bench_board import reasons_document
from cubital.app.drawn_before import with_recorded
from cubital.app.draws import dated
from cubital.app.known import Known, instant_text
from cubital.app.order_numbers import with_numbers
from cubital.app.record import SpecimenRecord
from cubital.errors import OrderError, RecordError
from cubital.handling.addon import Offer, where_waits
from cubital.handling.keeping import PolicyKey
from cubital.handling.receipt import is_shared, worded
from cubital.handling.redraw import Redraw, plan_redraw
from cubital.model import Ask, Order, Plan, Site
from cubital.model.record import Step
from cubital.model.specimen import Added, Judged, Verdict
from cubital.model.vocabulary import PRIORITIES
from cubital.planning.asks import Asked, resolve_asks
from cubital.planning.directory import Directory

ADDON_FORMAT = "cubital.addon/1"
REDRAW_FORMAT = "cubital.redraw/1"
SPIN_FIRST = "spin it first"
NOTHING = Redraw(served=(), drawn=(), plan=None, is_optimal=True, searched=0, offers={})


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """What is served from what is there, and what must be drawn; `added` is what is now recorded.

    `waiting` are tests that are asked of a specimen already and can still be measured in it: neither added nor drawn.
    """

    at: datetime
    policy: PolicyKey
    order: Order
    redraw: Redraw
    plan: Plan | None
    added: tuple[tuple[str, tuple[str, ...]], ...] = ()
    is_repeat: bool = False
    waiting: tuple[tuple[str, str], ...] = ()


def answer_addon(
    order: Order, known: Sequence[Known], site: Site, *, now: datetime, policy: PolicyKey = "strict"
) -> Answer:
    """Whether the tests of this order can be measured in these specimens of one patient, and the least redraw.

    An order without a day is for the day that it is at the site at `now`; what was drawn into these specimens counts
    for the limit of a redraw.
    Raises `OrderError` where they are of several patients.
    """
    if len({one.specimen.patient for one in known}) > 1:
        raise OrderError("found specimens of several patients; expected those of one", where="patient")
    order = dated(order, now.astimezone(ZoneInfo(site.time_zone)).date() if order.on is None else order.on)
    order = with_recorded(order, site, (one.specimen for one in known), now=now)
    shelf = [one.held for one in known]
    asked = resolve_asks(order, site, Directory(site))
    waiting = {
        one.test: specimen
        for one in asked
        if one.at_min == 0
        and (specimen := where_waits(site.tests[one.test], shelf, now=now, policy=policy)) is not None
    }
    order = order if not waiting else _without(order, asked, waiting)
    found = plan_redraw(order, shelf, site, now=now, policy=policy) if order.asks else NOTHING
    plan = None if found.plan is None else with_numbers(found.plan)
    return Answer(at=now, policy=policy, order=order, redraw=found, plan=plan, waiting=tuple(waiting.items()))


def _without(order: Order, asked: Sequence[Asked], waiting: Mapping[str, str]) -> Order:
    """The order of the other tests; each draw of a series is another one."""
    asks = tuple(
        Ask(test=one.test, priority=PRIORITIES[one.priority], at_min=one.at_min or None)
        for one in asked
        if one.at_min or one.test not in waiting
    )
    return msgspec.structs.replace(order, asks=asks)


def refused_tests(known: Sequence[Known]) -> tuple[str, ...]:
    """The tests of these specimens that were refused and that none of them still gives or has given.

    Raises `OrderError` where there is none.
    """
    refused: dict[str, None] = {}
    given = set()
    for one in known:
        specimen = one.specimen
        given |= {*specimen.reported, *specimen.waiting}
        for test, verdict in specimen.verdicts.items():
            if verdict.outcome == "refuse":
                refused[test] = None
    found = tuple(test for test in refused if test not in given)
    if not found:
        raise OrderError("found no refused test of this patient; expected one, or tests by name", where="tests")
    return found


def record_addon(
    record: SpecimenRecord, answer: Answer, known: Sequence[Known], *, by: str, station: str, key: str
) -> Answer:
    """The same, with every test that is served added to its specimen in one transaction, once a key.

    Raises `RecordError` where a specimen must be spun first: pour its plasma into an aliquot, then ask again.
    """
    if before := added_before(record, key):
        return msgspec.structs.replace(answer, added=before, is_repeat=True)
    by_id = {one.specimen.id: one.specimen for one in known}
    steps: list[Step] = []
    added = []
    for number, id in enumerate(dict.fromkeys(offer.specimen for offer in answer.redraw.served)):
        offers = [offer for offer in answer.redraw.served if offer.specimen == id]
        if any(reason.text.startswith(SPIN_FIRST) for offer in offers for reason in offer.reasons):
            raise RecordError(
                "found whole blood; expected plasma; spin it, pour the plasma into an aliquot and ask again",
                where=f"specimen {id}",
            )
        told: dict[str, Any] = {"specimen": id, "at": answer.at, "by": by, "station": station}
        tests = tuple(offer.test for offer in offers)
        verdicts = tuple(_verdict(offer) for offer in offers)
        expected = by_id[id].events
        steps.append(Step(event=Added(key=f"{key}/{number}", tests=tests, **told), expected=expected))
        judged = Judged(key=f"{key}/{number}/verdicts", verdicts=verdicts, **told)
        steps.append(Step(event=judged, expected=expected + 1))
        added.append((id, tests))
    if steps:
        record.append(*steps)
    return msgspec.structs.replace(answer, added=tuple(added))


def added_before(record: SpecimenRecord, key: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What was added under this key before, by specimen; empty where nothing was."""
    found: list[tuple[str, tuple[str, ...]]] = []
    while (entry := record.find(f"{key}/{len(found)}")) is not None and isinstance(entry.content, Added):
        found.append((entry.content.specimen, entry.content.tests))
    return tuple(found)


def _verdict(offer: Offer) -> Verdict:
    words = "; ".join(reason.text for reason in offer.reasons)
    wording = "" if offer.outcome == "accept" else f"Added to a specimen that was there: {words}."
    return Verdict(test=offer.test, outcome=offer.outcome, wording=wording, reasons=offer.reasons)


def shared_reasons(found: Redraw) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """What is said once for all the tests of an answer, by specimen and sentence, with the tests that it is of."""
    said: dict[tuple[str, str], list[str]] = {}
    for test, offers in found.offers.items():
        for offer in offers:
            for reason in offer.reasons:
                if is_shared(reason):
                    said.setdefault((offer.specimen, worded(reason.about, reason.text)), []).append(test)
    return {key: tuple(tests) for key, tests in said.items()}


def answer_document(answer: Answer, *, format: str) -> dict[str, Any]:
    """The answer as one JSON object, without its plan, which has a document of its own."""
    found = answer.redraw
    return {
        "format": format,
        "at": instant_text(answer.at),
        "policy": answer.policy,
        "optimal": found.is_optimal,
        "searched": found.searched,
        "served": [_offer(offer) for offer in found.served],
        "drawn": list(found.drawn),
        "waiting": [{"test": test, "specimen": specimen} for test, specimen in answer.waiting],
        "offers": {test: [_offer(offer) for offer in offers] for test, offers in found.offers.items()},
        "unknown": [
            {"specimen": id, "wording": text, "tests": list(tests)}
            for (id, text), tests in shared_reasons(found).items()
        ],
        "added": [{"specimen": id, "tests": list(tests)} for id, tests in answer.added],
        "repeat": answer.is_repeat,
    }


def _offer(offer: Offer) -> dict[str, Any]:
    words = {"accept": "yes", "comment": "comment", "refuse": "no"}
    return {
        "test": offer.test,
        "specimen": offer.specimen,
        "answer": words[offer.outcome],
        "takes_ul": offer.takes_ul,
        "left_ul": offer.left_ul,
        "reasons": reasons_document(offer.reasons),
    }
