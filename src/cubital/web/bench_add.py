"""Adding and drawing again at the Bench page: what of the patient is there serves a test, and the least new draw."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any

import msgspec
from starlette.responses import Response

from cubital.app.addon import Answer, added_before, answer_addon, record_addon, refused_tests, shared_reasons
from cubital.app.counter import tube_on_record
from cubital.app.explanation import Statement, of_reason
from cubital.app.known import Known, Shelf
from cubital.app.plan_explanation import reasons_of
from cubital.app.tray import lay_tray
from cubital.app.typed_order import Answer as Drawn
from cubital.app.typed_order import Typed, cautions_of, read_typed
from cubital.errors import CubitalError, KeyReused, LostRace, OrderError, RecordUnavailable
from cubital.handling.addon import Offer
from cubital.handling.receipt import is_shared
from cubital.model import Site
from cubital.model.vocabulary import SEXES
from cubital.units import millilitres_text
from cubital.web.bench_page import STATION, frame
from cubital.web.bench_race import who_was_first
from cubital.web.bench_rows import name_of
from cubital.web.bench_times import Times
from cubital.web.draw_page import AGE_UNITS, read_fields, shown_of
from cubital.web.visit import Visit

NOT_SETTLED = "Nothing was recorded: a line is not settled. Choose the test that is meant, or take the line out."
WORDS = {"accept": "yes", "comment": "yes, with a comment", "refuse": "no"}
SIGNS = {"accept": "✓", "comment": "▲", "refuse": "✕"}
NOT_ON_RECORD = "That specimen is not on record. Scan the label on a tube of the patient."
_FACTS = ("age", "age_unit", "sex", "weight_kg", "drawn_ml")


class Said(msgspec.Struct, frozen=True, kw_only=True):
    """What one specimen says to one test."""

    specimen: str
    outcome: str
    sign: str
    word: str
    takes: str
    left: str
    reasons: tuple[Statement, ...]


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """One test: the specimen that serves it, else None: it is drawn; and what the others say."""

    name: str
    served: Said | None
    others: tuple[Said, ...]


def open_add(visit: Visit) -> Response:
    """An empty question."""
    return visit.page("bench_add.html", {**frame(visit, "add"), **_form(visit), **_answered(visit, None)})


def ask_or_book(visit: Visit) -> Response:
    """The answer; written into the record where that was asked and just this answer was shown."""
    try:
        return _ask(visit)
    except RecordUnavailable:
        raise
    except LostRace as error:
        return _refused(visit, who_was_first(error, visit), status=409)
    except CubitalError as error:
        return _refused(visit, str(error), status=422)


def _refused(visit: Visit, said: str, *, status: int) -> Response:
    shown = {**frame(visit, "add", said=said), **_form(visit), **_answered(visit, None)}
    return visit.page("bench_add.html", shown, status=status)


def _ask(visit: Visit) -> Response:
    assert visit.visitor is not None
    desk = visit.desk
    shelf = Shelf(record=desk.record)
    named = tube_on_record(desk.record, " ".join(visit.said("specimen").split()))
    if named is None:
        # What was typed may be a patient's number: it is not said again, neither in words nor in the field.
        shown = {**frame(visit, "add", said=NOT_ON_RECORD), **_form(visit), **_answered(visit, None), "asked": ""}
        return visit.page("bench_add.html", shown, status=422)
    known = shelf.of_patient(named.specimen.patient)
    box = visit.said("instead") or visit.said("tests")
    if visit.said("do") == "redraw":
        box = "\n".join(refused_tests(known))
    today = Times(desk.site, desk.now()).today
    typed = read_typed(box, read_fields(visit), desk.site, directory=desk.directory, today=today)
    form = {**frame(visit, "add"), **_form(visit, box=box), "doubts": typed.doubts}
    if typed.order is None:
        if not typed.doubts:
            raise OrderError("found no test; expected one at least; type what is to be added", where="tests")
        return visit.page("bench_add.html", {**form, **_answered(visit, None)})
    answer = answer_addon(typed.order, known, desk.site, now=desk.now())
    said = ""
    if visit.said("do") == "book":
        key = f"addon/{visit.said('key')[:60]}"
        if typed.doubts and not added_before(desk.record, key):
            said = NOT_SETTLED
        elif added_before(desk.record, key) or visit.said("shown") == digest_of(answer):
            answer = _book(visit, answer, known, key)
            known = shelf.of_patient(known[0].specimen.patient)
        else:
            said = "The answer has changed since it was shown. Nothing was recorded: look at it again."
    return visit.page("bench_add.html", {**form, **_answered(visit, answer, typed), "said": said})


def _book(visit: Visit, answer: Answer, known: tuple[Known, ...], key: str) -> Answer:
    assert visit.visitor is not None
    by = visit.visitor.account.name
    try:
        return record_addon(visit.desk.record, answer, known, by=by, station=STATION, key=key)
    except KeyReused:
        # The same form, sent twice at the same moment: the other one was written meanwhile.
        if not added_before(visit.desk.record, key):
            raise
        return record_addon(visit.desk.record, answer, known, by=by, station=STATION, key=key)


def digest_of(answer: Answer) -> str:
    """A mark of what is served and what is drawn: only just what was shown is booked."""
    served = [f"{one.test} {one.specimen} {one.outcome}" for one in answer.redraw.served]
    return hashlib.sha256("\n".join((*served, *answer.redraw.drawn)).encode()).hexdigest()[:24]


def _form(visit: Visit, *, box: str | None = None) -> dict[str, Any]:
    return {
        "asked": " ".join(visit.said("specimen").split()),
        "box": visit.said("tests") if box is None else box, "doubts": (),
        "facts_said": {name: visit.said(name) for name in _FACTS}, "age_units": AGE_UNITS, "sexes": SEXES,
        "key": visit.said("key") or secrets.token_urlsafe(12),
    }  # fmt: skip


def _answered(visit: Visit, found: Answer | None, typed: Typed | None = None) -> dict[str, Any]:
    """The answer in words, and the new draw as a tray."""
    site = visit.desk.site
    drawn = Drawn()
    if found is not None and found.plan is not None:
        tray = lay_tray(found.plan, found.order, site)
        drawn = Drawn(
            order=found.order, plan=found.plan, tray=tray, cautions=cautions_of(found.plan),
            reasons=reasons_of(found.plan),
        )  # fmt: skip
    shown = {**shown_of(drawn), "found": found, "rows": (), "shown": "", "again": (), "added": (), "shared": ()}
    if found is None:
        return shown
    return shown | {
        "rows": _rows(found, site), "shown": digest_of(found),
        "again": tuple((name_of(test, site), id) for test, id in found.waiting),
        "added": tuple((id, ", ".join(name_of(test, site) for test in tests)) for id, tests in found.added),
        "shared": tuple(
            (id, text, ", ".join(name_of(test, site) for test in tests))
            for (id, text), tests in shared_reasons(found.redraw).items()
        ),
        "repeats": () if typed is None else typed.repeats, "is_least": found.redraw.is_optimal,
        "to_draw": ", ".join(name_of(test, site) for test in found.redraw.drawn),
    }  # fmt: skip


def _rows(found: Answer, site: Site) -> tuple[Asked, ...]:
    served = {offer.test: offer for offer in found.redraw.served}
    rows = []
    for test, offers in found.redraw.offers.items():
        chosen = served.get(test)
        others = tuple(_said(offer) for offer in offers if offer is not chosen)
        rows.append(Asked(name=name_of(test, site), served=None if chosen is None else _said(chosen), others=others))
    return tuple(rows)


def _said(offer: Offer) -> Said:
    return Said(
        specimen=offer.specimen, outcome=offer.outcome, sign=SIGNS[offer.outcome], word=WORDS[offer.outcome],
        takes=f"{millilitres_text(offer.takes_ul)} mL", left=f"{millilitres_text(offer.left_ul)} mL",
        reasons=tuple(of_reason(reason) for reason in offer.reasons if not is_shared(reason)),
    )  # fmt: skip
