"""A plan, or the error that stands in its place, as the JSON of the contract."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from cubital.errors import CubitalError
from cubital.model import Caution, Draw, Plan, PlannedTube, Reason, Unsettled
from cubital.units import millilitres

PLAN_FORMAT = "cubital.plan/1"
ERROR_FORMAT = "cubital.error/1"
# What an error knows beyond its message, by attribute; each is stated where the error has it.
_ERROR_FACTS = (
    "asked", "near", "choices", "looks", "words", "test", "kind", "policy", "findings",
    "specimen", "expected", "found", "by", "station", "at", "did", "now", "last", "sequence", "is_outcome_known",
)  # fmt: skip


def plan_document(plan: Plan) -> dict[str, Any]:
    """The plan as one JSON object, volumes in mL; what is not known is null."""
    return {
        "format": PLAN_FORMAT,
        "id": plan.id,
        "site": plan.site,
        "objective": plan.objective,
        "optimal": plan.optimal,
        "volumes": plan.volumes,
        "policy": plan.policy,
        "access": plan.access,
        "draws": [_draw(draw) for draw in plan.draws],
        "tubes": [_tube(tube) for tube in plan.tubes],
        "totals": _totals(plan),
        "bound": {
            "tubes": plan.bound.tubes,
            "blood_ml": millilitres(plan.bound.blood_ul),
            "preference": plan.bound.preference,
            "searched": plan.bound.searched,
            "finished": plan.bound.finished,
        },
        "unplaced": [
            {"test": u.test, "priority": u.priority, "rank": u.rank, "why": u.why, "needs": u.needs}
            for u in plan.unplaced
        ],
        "unsettled": [_unsettled(one) for one in plan.unsettled],
        "choices": [
            {
                "keep": choice.keep, "left_out": list(choice.left_out), "tubes": choice.tubes,
                "all_blood_ml": millilitres(choice.all_blood_ul), "optimal": choice.optimal,
            }
            for choice in plan.choices
        ],
        "cautions": [_caution(caution) for caution in plan.cautions],
        "reasons": [_reason(reason) for reason in plan.reasons],
        "edition": plan.edition,
    }


def error_document(error: CubitalError, *, id: str | None = None) -> dict[str, Any]:
    """The error as one JSON object: its class, its place, its message and the facts it carries.

    >>> from cubital.errors import UnknownTest
    >>> error_document(UnknownTest("found 'kk'", where="tests[0]", asked="kk", near=["potassium"]))["near"]
    ['potassium']
    """
    document: dict[str, Any] = {
        "format": ERROR_FORMAT,
        "id": id,
        "error": type(error).__name__,
        "where": error.where,
        "message": error.message,
    }
    for name in _ERROR_FACTS:
        value = getattr(error, name, None)
        if value is not None and value not in ("", ()):
            document[name] = _plain(value)
    return document


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def _draw(draw: Draw) -> dict[str, Any]:
    return {
        "number": draw.number,
        "at_min": draw.at_min,
        "label": draw.label,
        "moment": draw.moment or None,
        "steps": list(draw.steps),
        "asks": list(draw.asks),
        "due_from": _instant(draw.due_from),
        "due_to": _instant(draw.due_to),
        "blood_ml": millilitres(draw.blood_ul),
    }


def _unsettled(one: Unsettled) -> dict[str, Any]:
    return {
        "word": one.word,
        "where": one.where,
        "trouble": one.trouble,
        "message": one.said,
        "near": list(one.near),
        "choices": list(one.choices),
        "looks": list(one.looks),
    }


def _instant(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat(timespec="minutes")


def _tube(tube: PlannedTube) -> dict[str, Any]:
    return {
        "position": tube.position,
        "draw": tube.draw,
        "purpose": tube.purpose,
        "kind": tube.kind,
        "name": tube.name,
        "additive": tube.additive,
        "gel": tube.gel,
        "stopper": tube.stopper,
        "mark": tube.mark,
        "draw_ml": millilitres(tube.draw_ul),
        "size_ml": millilitres(tube.size_ul or tube.draw_ul),
        "returned": tube.returned,
        "liquid_additive_ul": tube.liquid_additive_ul,
        "matrix": tube.matrix,
        "bench": " + ".join(tube.benches) or None,
        "benches": list(tube.benches),
        "tests": list(tube.tests),
        "usable_ml": _known_ml(tube.usable_ul),
        "needed_ml": _known_ml(tube.needed_ul),
        "reserve_ml": millilitres(tube.reserve_ul),
        "fill_min_percent": tube.fill_min_percent,
        "inversions": tube.inversions,
        "clot_s": tube.clot_s,
        "spin": tube.spin,
        "handling": list(tube.handling),
        "reasons": [_reason(reason) for reason in tube.reasons],
    }


def _totals(plan: Plan) -> dict[str, Any]:
    totals = plan.totals
    return {
        "tubes": totals.tubes,
        "blood_ml": millilitres(totals.blood_ul),
        "limit_ml": _known_ml(totals.limit_ul),
        "preference": totals.preference,
        "all_tubes": totals.all_tubes,
        "all_blood_ml": millilitres(totals.all_blood_ul),
        "discard_ml": millilitres(totals.discard_ul),
        "returned_ml": millilitres(totals.returned_ul),
        "already_drawn_ml": millilitres(totals.already_drawn_ul),
        "blood_volume_ml": _known_ml(totals.blood_volume_ul),
    }


def _reason(reason: Reason) -> dict[str, Any]:
    return {
        "about": reason.about,
        "text": reason.text,
        "basis": reason.basis,
        "sources": list(reason.sources),
    }


def _caution(caution: Caution) -> dict[str, Any]:
    return {
        "level": caution.level,
        "text": caution.text,
        "about": caution.about,
        "basis": caution.basis,
        "sources": list(caution.sources),
    }


def _known_ml(volume_ul: int | None) -> float | None:
    return None if volume_ul is None else millilitres(volume_ul)
