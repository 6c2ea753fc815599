"""The Draw page: what was typed, pasted or scanned, and the draw as a picture; it plans again as one types."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from decimal import Decimal
from typing import Any, get_args

import msgspec
from starlette.responses import Response

from cubital import facts
from cubital.app.counter import tube_on_record
from cubital.app.draw_words import BeforeKey, tag_of
from cubital.app.drawn_before import with_recorded
from cubital.app.explanation import Explanation, citations
from cubital.app.tray import DrawRows, Gauge, TubeRow
from cubital.app.typed_order import Answer, answer_typed
from cubital.errors import CubitalError, OrderError, UnitError
from cubital.model import Draw, Order
from cubital.model.vocabulary import ACCESSES, OBJECTIVES, SEXES
from cubital.units import exact
from cubital.web import draw_moments
from cubital.web.tube_picture import TubePicture, picture_of
from cubital.web.visit import Visit

AGE_UNITS = (("a", "years"), ("mo", "months"), ("wk", "weeks"), ("d", "days"), ("h", "hours"))
OBJECTIVE_WORDS = {
    "by-patient": "by the patient", "liked-kinds": "liked kinds before blood", "fewest-tubes": "fewest tubes",
    "least-blood": "least blood",
}  # fmt: skip
CARRIED = ("unknown", "yes", "no")
READERS = frozenset({"collector", "processor", "supervisor", "administrator"})
EXAMPLE = "PT, aPTT, CMP, CBC, lactate"
# Room for as many events as an order holds, of four fields each.
MOST_FIELDS = 500
_NUMBERS = ("weight_kg", "height_cm", "hematocrit", "drawn_ml")
_FIELDS = (
    "age", "age_unit", "sex", *_NUMBERS, "access", "objective", "stat", "dead_space_ml", "carried", "suspected", "now",
    "place",
)  # fmt: skip


class DrawnTube(msgspec.Struct, frozen=True, kw_only=True):
    """One tube of the answer: its row of words, its drawing, and why."""

    row: TubeRow
    picture: TubePicture
    why: Explanation
    kind: str | None


class ToAsk(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to ask, and the id of the field of the form where it is said; empty where it has none."""

    text: str
    field: str


class DrawnDraw(msgspec.Struct, frozen=True, kw_only=True):
    """The tubes of one collection, in order, and what is known and done before them; an empty text is not shown."""

    number: int
    title: str
    short: str
    tubes: tuple[DrawnTube, ...]
    when: str
    due: str
    asks: tuple[ToAsk, ...]
    steps: tuple[str, ...]


class GaugePicture(msgspec.Struct, frozen=True, kw_only=True):
    """The blood against the limit, in hundredths of the gauge's length; `percent` is rounded up."""

    before: float
    this: float
    percent: int
    words: str


def go_to_draw(visit: Visit) -> Response:
    """The first page is the Draw page."""
    return visit.go("/draw")


def open_page(visit: Visit) -> Response:
    """An empty form."""
    shown = {**_form(visit, Answer()), **shown_of(Answer()), "box": "", "is_replaced": False, "begin_key": ""}
    return visit.page("draw.html", shown)


def plan(visit: Visit) -> Response:
    """The answer to what is in the form now; its part of the page alone where only that was asked."""
    box = visit.said("instead") or visit.said("tests")
    answer = _answer(visit, box)
    context = {**_form(visit, answer), **shown_of(answer), "box": box, "is_replaced": bool(visit.said("instead"))}
    # Each answer shown may be taken in hand once, however often its button is pressed.
    context["begin_key"] = secrets.token_urlsafe(16)
    return visit.page("answer.html" if visit.is_partial else "draw.html", context)


def _answer(visit: Visit, box: str) -> Answer:
    try:
        fields = read_fields(visit)
    except CubitalError as error:
        return Answer(refusal=error)
    try:
        amend = amend_of(visit)
    except CubitalError as error:
        return Answer(refusal=error)
    desk = visit.desk
    return answer_typed(box, fields, desk.site, directory=desk.directory, today=desk.today(), amend=amend)


def reads_record(visit: Visit) -> bool:
    """Whether this visitor may be shown what the record has of a patient: those who learn may not."""
    return visit.visitor is not None and visit.visitor.account.role in READERS


def amend_of(visit: Visit) -> Callable[[Order], Order] | None:
    """What adds the blood on record to an order, by a tube of the patient that was scanned; None where none was.

    Raises `OrderError` for what is no tube on record; what was typed may be a patient's number and is not said again.
    """
    typed = " ".join(visit.said("earlier").split())
    if not typed or not reads_record(visit):
        return None
    desk = visit.desk
    named = tube_on_record(desk.record, typed)
    if named is None:
        raise OrderError(
            "found no such tube on record; expected the label of one; scan it, or leave it empty", where="earlier tube"
        )
    specimens = desk.record.specimens_of(named.specimen.patient)
    return lambda order: with_recorded(order, desk.site, specimens, now=desk.now())


def read_fields(visit: Visit) -> dict[str, Any]:
    """The fields of the form as an order file writes them; raises `UnitError` for what is no number."""
    patient: dict[str, Any] = {name: _number(visit, name) for name in _NUMBERS if visit.said(name).strip()}
    if visit.said("age").strip():
        patient["age"] = f"{visit.said('age').strip()} {visit.said('age_unit') or 'a'}"
    if visit.said("sex"):
        patient["sex"] = visit.said("sex")
    if visit.all_said("flag"):
        patient["flags"] = visit.all_said("flag")
    fields: dict[str, Any] = {"patient": patient}
    fields |= {name: visit.said(name) for name in ("access", "objective") if visit.said(name)}
    if visit.said("stat"):
        fields["priority"] = "stat"
    fields |= draw_moments.read_moments(visit)
    line = _read_line(visit) if visit.said("access") == "line" else {}
    return {**fields, "line": line} if line else fields


def _read_line(visit: Visit) -> dict[str, Any]:
    line: dict[str, Any] = {}
    if visit.said("dead_space_ml").strip():
        line["dead_space_ml"] = _number(visit, "dead_space_ml")
    if visit.said("carried") in ("yes", "no"):
        line["carried_anticoagulant"] = visit.said("carried") == "yes"
    if visit.said("suspected"):
        line["suspected_infection"] = True
    return line


def _number(visit: Visit, name: str) -> Decimal:
    text = visit.said(name).strip()
    try:
        exact(text, where=name)
        return Decimal(text)
    except (ArithmeticError, ValueError):
        raise UnitError(
            f"found {text[:20]!r}; expected a number; write it with digits and a point, such as 12.5",
            where=name.replace("_", " "),
        ) from None


def _form(visit: Visit, answer: Answer) -> dict[str, Any]:
    """What the form offers, and what was put in."""
    said_events = draw_moments.said_rows(visit)
    earlier = visit.said("earlier") if _is_tube(visit) else ""
    offered = None if answer.moments is None else draw_moments.signature(answer.moments)
    return {
        "said": {name: visit.said(name) for name in _FIELDS} | {"flag": visit.all_said("flag")},
        "age_units": AGE_UNITS,
        "sexes": SEXES,
        "accesses": [(key, facts.accesses()[key].name) for key in ACCESSES],
        "objectives": [(key, OBJECTIVE_WORDS[key]) for key in OBJECTIVES],
        "reads_record": reads_record(visit),
        "earlier": earlier,
        "flags": [(key, key.replace("-", " ")) for key in (*facts.flags(), *_programs(visit))],
        "carried": CARRIED,
        "example": EXAMPLE,
        "places": draw_moments.places_of(visit.desk.site),
        "anchors": draw_moments.anchors(),
        "subjects": draw_moments.subjects(),
        "days": draw_moments.DAYS,
        "events": draw_moments.rows_of(answer.moments, said_events),
        "offered": offered or "",
        "has_other_events": offered is not None and offered != visit.said("offered"),
        "sent_again": [
            *((name, visit.said(name)) for name in _FIELDS if visit.said(name)),
            *(("flag", flag) for flag in visit.all_said("flag")),
            *draw_moments.sent_again(said_events),
            *(("keep", one.word) for one in answer.kept),
            *((("earlier", earlier),) if earlier else ()),
        ],
    }


def _is_tube(visit: Visit) -> bool:
    """Whether what was typed as an earlier tube is one; else it is not said again."""
    typed = " ".join(visit.said("earlier").split())
    return bool(typed) and reads_record(visit) and tube_on_record(visit.desk.record, typed) is not None


def _programs(visit: Visit) -> list[str]:
    """The flags by which the site's own limits are of a program."""
    return list(dict.fromkeys(one.program for one in visit.desk.site.limits.values() if one.program is not None))


def shown_of(answer: Answer) -> dict[str, Any]:
    """The answer as it is drawn."""
    tray = answer.tray
    return {
        "answer": answer,
        "draws": _draws(answer),
        "gauge": None if tray is None or tray.gauge is None else gauge_of(tray.gauge),
        "sources": citations(answer.reasons) if answer.reasons else (),
        "weaves": _weaves(answer),
    }


def _draws(answer: Answer) -> tuple[DrawnDraw, ...]:
    if answer.plan is None or answer.tray is None:
        return ()
    tubes = iter(zip(answer.plan.tubes, answer.reasons[1:], strict=True))
    drawn = []
    for draw, rows_of in zip(answer.plan.draws, answer.tray.draws, strict=True):
        rows = [
            DrawnTube(row=row, picture=picture_of(tube, row), why=why, kind=tube.kind if tube.mark else None)
            for row, (tube, why) in zip(rows_of.rows, tubes, strict=False)
        ]
        if rows:
            drawn.append(_draw(draw, rows_of, rows, answer))
    return tuple(drawn)


def _draw(one: Draw, draw: DrawRows, tubes: list[DrawnTube], answer: Answer) -> DrawnDraw:
    fields = {one.ask: f"event-{place}" for place, one in enumerate(answer.moments or (), start=1)}
    said = {flag: tuple(one.text for one in draw.before if one.flag == flag) for flag in get_args(BeforeKey)}
    return DrawnDraw(
        number=one.number, title=draw.title, short=tag_of(one), tubes=tuple(tubes), when=" ".join(said["when"]),
        due=" ".join(said["due"]),
        asks=tuple(ToAsk(text=text, field=fields.get(text, "")) for text in said["ask"]), steps=said["do first"],
    )  # fmt: skip


def gauge_of(gauge: Gauge) -> GaugePicture:
    """The gauge: never shown as less than it is.

    >>> gauge_of(Gauge(drawn_ul=8000, this_ul=1001, limit_ul=10000)).percent
    91
    """
    limit = max(1, gauge.limit_ul)
    before = min(100.0, 100 * gauge.drawn_ul / limit)
    this = min(100.0 - before, 100 * gauge.this_ul / limit)
    percent = -(-100 * (gauge.drawn_ul + gauge.this_ul) // limit)
    drawn = f", {gauge.drawn_ul / 1000:g} mL drawn before" if gauge.drawn_ul else ""
    # The limit is said to a tenth of a millilitre, down: never more room than there is.
    words = f"{gauge.this_ul / 1000:g} mL now{drawn}, of a limit of {gauge.limit_ul // 100 / 10:g} mL"
    return GaugePicture(before=before, this=max(this, 0.6), percent=percent, words=words)


def _weaves(answer: Answer) -> tuple[tuple[str, str], ...]:
    """The weaves of the answer's collars and the families they stand for, as a key."""
    if answer.plan is None:
        return ()
    from cubital.paper.ink import WEAVES

    families = dict.fromkeys(facts.additives()[tube.additive].family for tube in answer.plan.tubes)
    return tuple(
        (WEAVES[family], family.replace("-", " ")) for family in families if WEAVES.get(family, "bare") != "bare"
    )
