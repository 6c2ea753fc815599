"""Receiving at the Bench page: the tube that was scanned, its small form, the verdict on each test in words."""

from __future__ import annotations

import hashlib
import secrets
from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import Any, cast
from urllib.parse import quote

import msgspec
from starlette.responses import Response

from cubital.app.bench_board import ClockView, look_at_board, look_at_clock
from cubital.app.counter import confirm_second, may_judge_again, open_tube, receive_seen, tube_on_record
from cubital.app.explanation import Statement, of_reason
from cubital.app.known import Known
from cubital.app.live_board import Look
from cubital.app.receipt import Person, Receipt, receive
from cubital.errors import CubitalError, LostRace, RecordUnavailable
from cubital.facts.keeping import INDICES, StorageKey
from cubital.handling.receipt import (
    Arrival,
    Judgement,
    LabelSeen,
    is_of_identity,
    is_shared,
    own_wording,
    shared_wording,
)
from cubital.model import Reason, Site
from cubital.model.specimen import Verdict
from cubital.web.bench_deeds import deeds_of
from cubital.web.bench_numbers import number_said, whole_said
from cubital.web.bench_page import STATION, frame
from cubital.web.bench_race import who_was_first
from cubital.web.bench_rows import Row, cap_of, counted, kind_of, name_of, rows_of
from cubital.web.bench_times import Times
from cubital.web.visit import Visit

BENCH_ROLES = frozenset({"processor", "supervisor", "administrator"})
IDENTIFIERS = (("2", "two agree"), ("1", "only one agrees"), ("0", "none agrees"))
LABELS = (("one", "one label"), ("agree", "two, and they agree"), ("differ", "two, and they differ"))
FAULTS = (
    ("no_time", "no time of collection on the label"), ("no_collector", "no collector on the label"),
    ("expired", "past its date"), ("clotted", "a clot"), ("leaked", "it leaked"), ("open", "it came open"),
    ("light", "it stood in the light"),
)  # fmt: skip
CAME = (
    ("", "as recorded"), ("ambient", "at room temperature"), ("cold", "at 2-8 C"), ("ice", "on ice"),
    ("warm", "at 37 C"), ("frozen", "frozen"),
)  # fmt: skip
WORDS = {"accept": "accepted", "comment": "with a comment", "refuse": "refused"}
SIGNS = {"accept": "✓", "comment": "▲", "refuse": "■"}
_TEXTS = ("fill", "after_min", "usable_ml", *INDICES, "came", "second", "why")


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """The verdict on one test, in words."""

    name: str
    outcome: str
    sign: str
    word: str
    wording: str
    reasons: tuple[Statement, ...]
    untold: tuple[str, ...] = ()
    is_identity: bool = False


def open_form(visit: Visit) -> Response:
    """The tube that was scanned: its form, or what was decided of it."""
    assert visit.visitor is not None
    known = tube_on_record(visit.desk.record, " ".join(visit.query.get("specimen", "").split()))
    if known is None:
        return not_on_record(visit)
    visit.desk.accounts.note(visit.visitor, "opened a tube", about=known.specimen.id[:60])
    left, pair = (_other(visit, visit.query.get(name, ""), known) for name in ("left", "pair"))
    shown = whole(visit, known)
    if left and not pair:
        # Two scans and nothing recorded between: one tube or two is asked before any form is offered.
        shown |= {"left": left, "is_open": False}
    return visit.page("bench_tube.html", shown)


def about_tube(visit: Visit) -> str:
    """The number of the tube that is meant, for the trail; nothing where it is none, for it may be a patient's."""
    known = tube_on_record(visit.desk.record, " ".join(visit.said("specimen").split()))
    return "" if known is None else known.specimen.id[:60]


def _other(visit: Visit, text: str, known: Known) -> str:
    """Another tube on record by this name; nothing where there is none."""
    other = tube_on_record(visit.desk.record, " ".join(text.split()))
    return "" if other is None or other.specimen.id == known.specimen.id else other.specimen.id


def not_on_record(visit: Visit, said: str = "That is not on record. Scan the label on the tube.") -> Response:
    """That there is no such tube. What was named is not said again: it may be a patient's number in the wrong field."""
    return visit.page("bench_tube.html", {**frame(visit, "due", said=said), **_nothing()}, status=404)


def whole(visit: Visit, known: Known, *, said: str = "", is_news: bool = False) -> dict[str, Any]:
    """Everything that the page of one tube shows."""
    return {**frame(visit, "due", said=said), **_tube(visit, known, is_news=is_news)}


def receive_tube(visit: Visit) -> Response:
    """The verdict on what is in the form; written into the record where that was asked."""
    id = " ".join(visit.said("specimen").split())
    known = tube_on_record(visit.desk.record, id)
    if known is None:
        return not_on_record(visit)
    try:
        found = _judge(visit, known)
        if visit.said("do") == "record" and not _is_to_look_at(visit, found):
            return _record(visit, known)
    except LostRace as error:
        return _page(visit, open_tube(visit.desk.record, id), said=who_was_first(error, visit), status=409,
                     is_news=True)  # fmt: skip
    except RecordUnavailable:
        raise
    except CubitalError as error:
        return _page(visit, known, said=str(error), status=200 if visit.is_partial else 422)
    if visit.is_partial:
        return visit.page("bench_verdict.html", _verdict(found, visit))
    return visit.page("bench_tube.html", {**whole(visit, known), **_verdict(found, visit)})


def _judge(visit: Visit, known: Known) -> Receipt:
    """What would be decided; an exception is looked at only when it is recorded, for it asks for a password."""
    arrival = read_arrival(visit)
    return receive(known, visit.desk.site, arrival)


def _record(visit: Visit, known: Known) -> Response:
    assert visit.visitor is not None
    person = Person(by=visit.visitor.account.name, station=STATION)
    if visit.said("second").strip() or visit.said("is_again"):
        second = confirm_second(
            visit.desk.accounts, visit.said("second"), visit.said("second_password"), address=visit.address,
            roles=BENCH_ROLES,
        )  # fmt: skip
        person = msgspec.structs.replace(person, second=second, why=visit.said("why").strip())
    receive_seen(
        visit.desk.record, known.specimen.id, visit.desk.site, read_arrival(visit), person,
        seen=seen_of(visit), key=f"receive/{known.specimen.id}/{visit.said('key')[:60]}",
        is_again=bool(visit.said("is_again")),
    )  # fmt: skip
    id, pair = known.specimen.id, _other(visit, visit.said("pair"), known)
    if pair and not _is_of_doubtful_identity(open_tube(visit.desk.record, pair)):
        # The other label of the same tube: its tests are refused next.
        return visit.go(f"/bench/tube?specimen={quoted(pair)}&pair={quoted(id)}")
    return visit.go(f"/bench/tube?specimen={quoted(id)}")


def _is_of_doubtful_identity(known: Known) -> bool:
    return any(is_of_identity(verdict) for verdict in known.specimen.verdicts.values())


def seen_of(visit: Visit) -> int:
    """How many events of the tube its form had seen; 1, its collection, where it does not say."""
    text = visit.said("seen")
    return int(text) if text.isascii() and text.isdigit() and 0 < len(text) < 7 else 1


def _is_to_look_at(visit: Visit, found: Receipt) -> bool:
    """Whether tests would be refused that nobody has been shown as refused yet."""
    is_excepted = bool(visit.said("second").strip() or visit.said("is_again"))
    return found.is_refused and not is_excepted and visit.said("shown") != digest_of(found)


def digest_of(found: Receipt) -> str:
    """A mark of these verdicts: a refusal is recorded only after just this was shown."""
    text = "\n".join(f"{one.test} {one.outcome} {one.wording}" for one in found.judgements)
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def read_arrival(visit: Visit) -> Arrival:
    """What was put into the form; what was not looked at stays unknown. Raises `UnitError` for what is no number."""
    looked, faults = bool(visit.said("looked")), set(visit.all_said("fault"))

    def seen(fault: str) -> bool | None:
        return True if fault in faults else False if looked else None

    def good(fault: str) -> bool | None:
        found = seen(fault)
        return None if found is None else not found

    label = None
    if visit.said("identifiers") in ("0", "1", "2"):
        labels = visit.said("labels")
        label = LabelSeen(
            agree=int(visit.said("identifiers")), differ=1 if visit.said("differ") else 0,
            has_time=good("no_time"), has_collector=good("no_collector"),
            labels=2 if labels in ("agree", "differ") else 1, labels_agree={"agree": True, "differ": False}.get(labels),
        )  # fmt: skip
    fill = whole_said(visit, "fill", least=0, most=200, unit="percent")
    usable_ml = number_said(visit, "usable_ml", least=0, most=100, unit="mL")
    came = next((key for key, _ in CAME if key and key == visit.said("came")), None)
    indices = {key: number_said(visit, key, least=0) for key in INDICES}
    return Arrival(
        at=visit.desk.now(), label=label, is_expired=seen("expired"), is_clotted=seen("clotted"),
        fill_percent=fill if fill is not None else 100 if looked else None, has_leaked=seen("leaked"),
        was_open=seen("open"), was_dark=good("light"), came=cast(StorageKey | None, came),
        after_min=whole_said(visit, "after_min", least=0, unit="minutes"),
        usable_ul=None if usable_ml is None else int(usable_ml * 1000),
        indices={key: value for key, value in indices.items() if value is not None},
    )  # fmt: skip


def _page(visit: Visit, known: Known, *, said: str, status: int, is_news: bool = False) -> Response:
    if visit.is_partial:
        empty = {"tests": (), "shared": (), "tally": "", "shown": "", "untold": ()}
        return visit.page("bench_verdict.html", {**empty, "trouble": said, "answered_at": ""})
    return visit.page("bench_tube.html", whole(visit, known, said=said, is_news=is_news), status=status)


def _nothing() -> dict[str, Any]:
    """What the page shows where there is no tube."""
    empty = {"left": "", "tests": (), "shared": (), "tally": "", "shown": "", "untold": (), "trouble": "", "pair": ""}
    return {**empty, "tube": None, "is_open": False, "id": "not on record"}


def _tube(visit: Visit, known: Known, *, is_news: bool = False) -> dict[str, Any]:
    """Everything that the page shows of one tube before it is judged; a form sent before keeps what it had seen."""
    desk, specimen = visit.desk, known.specimen
    now = desk.now()
    times = Times(desk.site, now)
    is_repeated = visit.method == "POST"
    pair = _other(visit, visit.said("pair") or visit.query.get("pair", ""), known)
    return {
        "tube": specimen, "id": specimen.id, "left": "", "cap": cap_of(specimen, desk.site),
        "kind": kind_of(specimen, desk.site), "drawn": times.short(specimen.collected_at),
        "age": times.left(specimen.collected_at), "received": times.short(specimen.received_at),
        "waiting": [name_of(test, desk.site) for test in specimen.waiting],
        "decided": [told_of(verdict, desk.site) for verdict in specimen.verdicts.values()],
        "decided_shared": shared_of(specimen.verdicts.values(), desk.site),
        "key": visit.said("key") or secrets.token_urlsafe(12),
        "seen": seen_of(visit) if is_repeated and not is_news else specimen.events,
        "said_before": {name: visit.said(name) if is_repeated else "" for name in _TEXTS}
        | {name: visit.said(name) for name in ("identifiers", "differ", "labels", "looked")}
        | {"fault": visit.all_said("fault")} | ({"labels": "differ"} if pair else {}),
        "pair": pair,
        "may_again": may_judge_again(specimen),
        "is_open": bool(specimen.waiting) and (specimen.received_at is None or is_repeated or bool(pair)),
        "clock": _clock(look_at_clock(known, desk.site, now=now), times), "due": _due(known, desk.site, now),
        "identifiers": IDENTIFIERS, "labels": LABELS, "faults": FAULTS, "came": CAME, "indices": INDICES,
        "tests": (), "shared": (), "tally": "", "shown": "", "untold": (), "trouble": "",
        **deeds_of(visit, known),
    }  # fmt: skip


def _due(known: Known, site: Site, now: datetime) -> tuple[Row, ...]:
    """What is to be done with this tube, in the words of its line on the board."""
    look = Look(view=look_at_board((known,), site, now=now), specimens={known.specimen.id: known.specimen})
    return rows_of(look, site).rows


def _verdict(found: Receipt, visit: Visit) -> dict[str, Any]:
    site = visit.desk.site
    tests = [
        Told(
            name=name_of(one.test, site), outcome=one.outcome, sign=SIGNS[one.outcome], word=WORDS[one.outcome],
            wording=own_wording(one), reasons=_own_reasons(one.reasons), untold=one.untold, is_identity=one.is_identity,
        )
        for one in sorted(found.judgements, key=lambda one: ("refuse", "comment", "accept").index(one.outcome))
    ]  # fmt: skip
    counts = Counter[str](one.outcome for one in found.judgements)
    untold = tuple(dict.fromkeys(text for one in found.judgements for text in one.untold))
    return {
        "tests": tests, "tally": counted({WORDS[key]: counts[key] for key in WORDS}), "shown": digest_of(found),
        "shared": shared_of(found.judgements, site),
        "untold": untold, "trouble": "", "answered_at": Times(site, visit.desk.now()).to_second(),
    }  # fmt: skip


def shared_of(verdicts: Iterable[Verdict | Judgement], site: Site) -> tuple[tuple[str, str], ...]:
    """What is said once for several tests, each sentence with their names."""
    return tuple((text, ", ".join(name_of(test, site) for test in tests)) for text, tests in shared_wording(verdicts))


def _own_reasons(reasons: Iterable[Reason]) -> tuple[Statement, ...]:
    return tuple(of_reason(reason) for reason in reasons if not is_shared(reason))


def told_of(verdict: Verdict, site: Site) -> Told:
    """A verdict of the record in words."""
    return Told(
        name=name_of(verdict.test, site), outcome=verdict.outcome, sign=SIGNS[verdict.outcome],
        word=WORDS[verdict.outcome], wording=own_wording(verdict),
        reasons=_own_reasons(verdict.reasons),
    )  # fmt: skip


def _clock(view: ClockView, times: Times) -> dict[str, Any]:
    site = times.site
    windows = [
        (window.status(view.at), times.short(window.due_at), window.text,
         ", ".join(name_of(test, site) for test in window.tests))
        for window in view.windows
    ]  # fmt: skip
    keeps = [
        (name_of(one.test, site), one.storage, f"to {times.short(one.until)}" if one.until else f"no: {one.text}")
        for one in view.keeps
    ]
    return {"windows": windows, "keeps": keeps}


def quoted(text: str) -> str:
    """The text as it stands in an address."""
    return quote(text, safe="")
