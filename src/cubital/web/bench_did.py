"""A deed at the Bench page, read from its form: asked once more where it is final, then written once."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from cubital.app.counter import open_tube, tube_on_record
from cubital.app.deed_choices import DEEDS, Deed, do_deed, try_deed
from cubital.app.known import Known
from cubital.errors import CubitalError, LostRace, OrderError, RecordUnavailable
from cubital.handling.keeping import PLACES
from cubital.model.specimen import Specimen
from cubital.units import millilitres_text
from cubital.web.bench_numbers import number_said, whole_said
from cubital.web.bench_page import STATION
from cubital.web.bench_race import who_was_first
from cubital.web.bench_rows import name_of
from cubital.web.bench_times import Times
from cubital.web.bench_tube import not_on_record, quoted, seen_of, whole
from cubital.web.visit import Visit

FIELDS = ("rcf_g", "minutes", "temp_c", "storage", "into", "ml", "why", "ago_min")


def write_deed(visit: Visit) -> Response:
    """Write what was done; what no later deed takes back is shown first, and written once that was confirmed."""
    assert visit.visitor is not None
    id = " ".join(visit.said("specimen").split())
    known = tube_on_record(visit.desk.record, id)
    if known is None:
        return not_on_record(visit)
    told: dict[str, Any] = {
        "by": visit.visitor.account.name, "station": STATION, "now": visit.desk.now(), "seen": seen_of(visit),
        "key": visit.said("key")[:60],
    }  # fmt: skip
    try:
        deed = read_deed(visit)
        if deed.kind != "stored" and visit.said("sure") != "1":
            after = try_deed(visit.desk.record, id, deed, **told)
            return _page(visit, known, asked=_asked(visit, deed, known.specimen, after.specimens[0]))
        do_deed(visit.desk.record, id, deed, **told)
    except LostRace as error:
        return _page(visit, open_tube(visit.desk.record, id), said=who_was_first(error, visit), status=409)
    except RecordUnavailable:
        raise
    except CubitalError as error:
        return _page(visit, known, said=str(error), status=422)
    return visit.go(f"/bench/tube?specimen={quoted(id)}")


def _page(
    visit: Visit, known: Known, *, said: str = "", status: int = 200, asked: dict[str, Any] | None = None
) -> Response:
    context = whole(visit, known, said=said)
    return visit.page("bench_tube.html", {**context, "asked_deed": asked}, status=status)


def _asked(visit: Visit, deed: Deed, before: Specimen, after: Specimen) -> dict[str, Any]:
    """What is about to be written, in words, with everything that the form said."""
    site, times = visit.desk.site, Times(visit.desk.site, visit.desk.now())
    when = "just now" if not deed.ago_min else f"{deed.ago_min} min ago"
    names = ", ".join(name_of(test, site) for test in deed.tests)
    words = {
        "spun": f"spun at {deed.rcf_g} g for {(deed.spin_s or 0) / 60:g} min at {deed.temperature_c} C",
        "poured": f"{millilitres_text(deed.volume_ul or 0)} mL poured into {deed.into}, for {names or 'no test yet'}",
        "reported": f"result of {names} released",
        "discarded": f"thrown away: {deed.why}",
    }[deed.kind]
    kept = [(name, visit.said(name)) for name in FIELDS] + [("test", test) for test in visit.all_said("test")]
    lost = before.waiting if deed.kind == "discarded" else ()
    return {
        "deed": deed.kind, "words": f"{words}, {when} ({times.short(times.now)})", "kept": kept,
        "lost": [name_of(test, site) for test in lost], "left": f"{millilitres_text(after.left_ul)} mL",
        "key": visit.said("key"), "seen": seen_of(visit),
    }  # fmt: skip


def read_deed(visit: Visit) -> Deed:
    """What the form says was done. Raises `UnitError` for what is no number, `OrderError` for no deed of ours."""
    kind = next((one for one in DEEDS if one == visit.said("do")), None)
    if kind is None:
        raise OrderError(f"found no deed; expected one of {', '.join(DEEDS)}", where="deed")
    minutes, ml = number_said(visit, "minutes"), number_said(visit, "ml")
    return Deed(
        kind=kind, rcf_g=whole_said(visit, "rcf_g"), spin_s=None if minutes is None else int(minutes * 60),
        temperature_c=whole_said(visit, "temp_c"),
        storage=next((place for place in PLACES if place == visit.said("storage")), None),
        into=" ".join(visit.said("into").split()), volume_ul=None if ml is None else int(ml * 1000),
        tests=tuple(visit.all_said("test")), why=" ".join(visit.said("why").split()),
        ago_min=whole_said(visit, "ago_min") or 0,
    )  # fmt: skip
