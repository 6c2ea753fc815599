"""The Explain page: the order of draw in numbers, carry-over, fill and altitude, citrate and hematocrit; and why."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from starlette.responses import Response

from cubital import facts
from cubital.app.carry_over import CAUTION, Blood, bias_curves, carry_over
from cubital.app.cited_sources import cite_carry_over, cite_citrate, cite_fill
from cubital.app.citrate_adjustment import citrate_advice
from cubital.app.derived_order import TAKEN_UL
from cubital.app.explanation import citations
from cubital.app.fill import Conditions, altitude_curves, fill_report
from cubital.app.order_matrix import LEAST_UL, MOST_UL, kinds_to_compare, order_matrix
from cubital.app.subject_explanation import explain_subject
from cubital.chemistry.carryover import Change
from cubital.errors import CubitalError, UnitError
from cubital.units import exact
from cubital.web.line_plot import Axes, line_plot
from cubital.web.visit import Visit

Section = Callable[[Visit], dict[str, Any]]
MOST_CARRIED_UL = 200.0
TOP_M, TAKEN_M = 5000.0, 1500.0
LEAST_PERCENT, MOST_PERCENT, TAKEN_PERCENT = 30.0, 80.0, 60.0
BLOOD_ML = ("1.8", "2.7", "4.5")
_STEPS = 60


def open_page(visit: Visit) -> Response:
    """Every section, with what is asked or taken."""
    context = {f"of_{name}": _told(section, visit) for name, section in SECTIONS.items()}
    return visit.page("explain.html", context)


def order(visit: Visit) -> Response:
    """The section of the order of draw alone."""
    return _part(visit, "order")


def carry(visit: Visit) -> Response:
    """The section of carry-over alone."""
    return _part(visit, "carry")


def fill(visit: Visit) -> Response:
    """The section of fill and altitude alone."""
    return _part(visit, "fill")


def citrate(visit: Visit) -> Response:
    """The section of citrate and hematocrit alone."""
    return _part(visit, "citrate")


def why(visit: Visit) -> Response:
    """Everything that is known of one tube kind, additive, order of draw, access or limit."""
    about = visit.query.get("about", "")[:80]
    told = explain_subject(about, visit.desk.site)
    context = {"about": about, "told": told, "sources": citations(told)}
    return visit.page("why.html", context, status=200 if told else 404)


def _part(visit: Visit, name: str) -> Response:
    told = _told(SECTIONS[name], visit)
    if not visit.is_partial:
        context = {f"of_{other}": _told(section, visit) for other, section in SECTIONS.items() if other != name}
        return visit.page("explain.html", {**context, f"of_{name}": told})
    return visit.page(f"explain_{name}.html", {f"of_{name}": told})


def _told(section: Section, visit: Visit) -> dict[str, Any]:
    try:
        return {"error": None, **section(visit)}
    except CubitalError as error:
        return {"error": error}


def number(visit: Visit, name: str, taken: float) -> float:
    """The number of a field, or what is taken where it is empty; raises `UnitError` for anything else."""
    text = visit.query.get(name, "").strip()
    return taken if not text else float(exact(text[:30], where=name.replace("_", " ")))


def _order(visit: Visit) -> dict[str, Any]:
    carried_ul = number(visit, "order_ul", TAKEN_UL)
    found = order_matrix(visit.desk.site, carried_ul=carried_ul)
    policy = facts.order_policies()[visit.desk.site.planning.order_of_draw]
    marks = {key: mark for key, mark, _ in found.marks}
    pairs = [
        (found.rows[n][n + 1], found.rows[n + 1][n], marks[a], marks[b])
        for n, (a, b) in enumerate(zip(found.derived.order, found.derived.order[1:], strict=False))
    ]
    return {
        "carried_ul": carried_ul, "least_ul": LEAST_UL, "most_ul": MOST_UL, "matrix": found, "marks": marks,
        "pairs": pairs, "policy": policy,
    }  # fmt: skip


def _carry(visit: Visit) -> dict[str, Any]:
    site = visit.desk.site
    kinds = kinds_to_compare(site)
    keys = [kind.key for kind in kinds]
    from_ = visit.query.get("from", "") or ("edta" if "edta" in keys else keys[0])
    into = visit.query.get("into", "") or ("serum" if "serum" in keys else keys[-1])
    carried_ul = number(visit, "carried_ul", TAKEN_UL)
    if not 0 <= carried_ul <= MOST_CARRIED_UL:
        raise UnitError(f"found {carried_ul:g} uL; expected 0 to {MOST_CARRIED_UL:g} uL", where="carried")
    found = carry_over(from_, into, site, carried_ul=carried_ul)
    volumes = [MOST_CARRIED_UL * step / _STEPS for step in range(_STEPS + 1)]
    curves = bias_curves(found, site, Blood(), volumes)
    values = [share for _, shares in curves for share in shares]
    axes = Axes(
        key="carry", title=f"What {from_} carried into {into} does to each result",
        x_words=f"{from_} carried into {found.blood_ul / 1000:g} mL of blood in {into}, uL",
        y_words="change, in allowable errors", x=(0.0, MOST_CARRIED_UL),
        y=(max(-5.0, min([-1.4, *values])), min(5.0, max([1.4, *values]))),
    )  # fmt: skip
    plot = line_plot(
        axes, volumes, curves, levels=((1, "allowable error"), (-1, "allowable error")),
        moments=((carried_ul, f"{carried_ul:g} uL"),),
    )  # fmt: skip
    return {
        "kinds": kinds, "from_": from_, "into": into, "carried_ul": carried_ul, "most_ul": MOST_CARRIED_UL,
        "found": found, "plot": plot, "caution": CAUTION, "sources": cite_carry_over(found),
        "moved": [change for change in found.changes if _is_moved(change)],
        "still": [change for change in found.changes if not _is_moved(change)],
        "names": {key: analyte.name for key, analyte in facts.analytes().items()},
    }  # fmt: skip


def _is_moved(change: Change) -> bool:
    """Whether a change would be seen in three figures, or in a thousandth of what may err."""
    share = change.share_of_allowable
    return abs(change.amount) > 0.0005 * abs(change.before) or (share is not None and abs(share) >= 0.001)


def _fill(visit: Visit) -> dict[str, Any]:
    altitude_m = number(visit, "altitude_m", TAKEN_M)
    if not 0 <= altitude_m <= TOP_M:
        raise UnitError(f"found {altitude_m:g} m; expected 0 to {TOP_M:g} m", where="altitude")
    found = fill_report((), visit.desk.site, Conditions(altitude_m=altitude_m))
    metres, curves = altitude_curves(found)
    least = sorted({tube.fill_min_percent for tube in found.tubes if tube.fill_min_percent is not None})
    axes = Axes(
        key="fill", title="How full an evacuated tube comes out", x_words="altitude, m",
        y_words="fill, % of the nominal draw", x=(0.0, TOP_M), y=(0.0, 105.0),
    )  # fmt: skip
    plot = line_plot(
        axes, metres, [(name, [100 * share for share in fills]) for name, fills in curves],
        levels=[(percent, f"least fill {percent} %") for percent in least],
        moments=((altitude_m, f"{altitude_m:g} m"),),
    )  # fmt: skip
    rows = {tube.kind: tube for tube in found.tubes}
    return {
        "altitude_m": altitude_m, "top_m": TOP_M, "found": found, "plot": plot, "rows": tuple(rows.values()),
        "sources": cite_fill(),
    }  # fmt: skip


def _citrate(visit: Visit) -> dict[str, Any]:
    percent = number(visit, "hematocrit_percent", TAKEN_PERCENT)
    if not LEAST_PERCENT <= percent <= MOST_PERCENT:
        raise UnitError(f"found {percent:g} %; expected {LEAST_PERCENT:g} to {MOST_PERCENT:g} %", where="hematocrit")
    blood_ml = number(visit, "blood_ml", 2.7)
    blood_ul = round(blood_ml * 1000)
    found = citrate_advice(Fraction(percent).limit_denominator(1000) / 100, blood_ul)
    percents = [LEAST_PERCENT + (MOST_PERCENT - LEAST_PERCENT) * n / _STEPS for n in range(_STEPS + 1)]
    advices = [citrate_advice(Fraction(one).limit_denominator(1000) / 100, blood_ul) for one in percents]
    curves = [
        (f"{row.formula}; V is {row.v_means}", [float(a.formulas[n].remove_ul) for a in advices])
        for n, row in enumerate(found.formulas)
    ]
    values = [value for _, ys in curves for value in ys]
    axes = Axes(
        key="citrate", title="Citrate to take out of a tube before it is filled", x_words="hematocrit, %",
        y_words="citrate to take out, uL", x=(LEAST_PERCENT, MOST_PERCENT), y=(min(0.0, *values), max(values)),
    )  # fmt: skip
    threshold = float(found.threshold * 100)
    plot = line_plot(
        axes, percents, curves, levels=((0.0, "as it is"),),
        moments=((threshold, f"adjust over {threshold:g} %"), (percent, f"{percent:g} %")),
    )  # fmt: skip
    return {
        "percent": percent, "least": LEAST_PERCENT, "most": MOST_PERCENT, "blood_ml": blood_ml, "sizes": BLOOD_ML,
        "found": found, "plot": plot, "sources": cite_citrate(),
    }  # fmt: skip


SECTIONS: dict[str, Section] = {"order": _order, "carry": _carry, "fill": _fill, "citrate": _citrate}
