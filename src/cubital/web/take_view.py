"""A draw in hand as the page keeps it: its tubes drawn and worded, what was settled, and nothing of the patient."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cubital.app.taking_check import HOLDS, check_of
from cubital.app.taking_site import moved_on, planned_on, site_of_draw
from cubital.app.taking_steps import TubeStep, is_labelled, settled, steps_of
from cubital.app.taking_words import WHY_WORDS, chair_words
from cubital.app.tray import DrawRows, TubeRow, lay_tray
from cubital.app.wiring import say_local
from cubital.model import Site
from cubital.model.taking import Taking, Tap
from cubital.web.take_picture import upright
from cubital.web.visit import Visit


def view_of(visit: Visit, taking: Taking, taps: Sequence[Tap], checks: Sequence[Tap]) -> dict[str, Any]:
    """The draw for the script of the page, with the checks that stand; instants are milliseconds."""
    site = site_of_draw(taking, visit.desk.sites, visit.desk.site)
    tray = lay_tray(taking.plan, taking.order, site)
    rows = [(draw, row) for draw in tray.draws for row in draw.rows]
    return {
        "code": taking.code,
        "made": _made(taking, site),
        "moved_on": "" if taking.closed_at is not None else moved_on(taking, visit.desk.edition),
        "headline": tray.headline,
        "warnings": [*(f"STOP: {words}" for words in tray.stops), *tray.warnings],
        "left_out": list(tray.left_out),
        "closed": taking.closed_at is not None,
        "draws": [
            {
                "number": draw.number, "check": check_of(taking.plan, draw.number), "title": rows_of.title,
                "after": f"{draw.at_min} min after the first draw" if draw.at_min else "",
                "before": [{"flag": one.flag, "text": one.text} for one in rows_of.before],
            }
            for draw, rows_of in zip(taking.plan.draws, tray.draws, strict=True)
        ],
        # By the clock of the device that made the check, for that device compares it with its own clock.
        "checked": {
            f"{tap.station}/{tap.by}/{tap.step}": int(tap.device_at.timestamp() * 1000)
            for tap in checks
        },
        "check_holds_ms": int(HOLDS.total_seconds() * 1000),
        "steps": [
            _step(visit, site, step, draw, row, taps, len(rows))
            for step, (draw, row) in zip(steps_of(taking), rows, strict=True)
        ],
    }


def line_of(visit: Visit, taking: Taking, taps: Sequence[Tap]) -> dict[str, Any]:
    """One draw of the list of those that wait."""
    site = visit.desk.site
    steps = steps_of(taking)
    done = sum(1 for step in steps if settled(taps, step.number) is not None)
    return {
        "code": taking.code,
        "made": _made(taking, site),
        "moved_on": moved_on(taking, visit.desk.edition),
        "headline": lay_tray(taking.plan, taking.order, site).headline,
        "done": f"{done} of {len(steps)} settled" if done else "not begun",
    }


def _made(taking: Taking, site: Site) -> str:
    return f"planned at {say_local(taking.made_at, site)[:16]} by {taking.made_by} on {planned_on(taking)}"


def _step(
    visit: Visit, site: Site, step: TubeStep, draw: DrawRows, row: TubeRow, taps: Sequence[Tap], count: int
) -> dict[str, Any]:  # fmt: skip
    words = chair_words(step, row)
    context = {
        "step": step, "row": row, "words": words, "drawn": upright(step.tube, row), "count": count,
        # What is known and done before a draw stands above the picture of its first tube.
        "draw": draw if row is draw.rows[0] else None,
    }  # fmt: skip
    tap = settled(taps, step.number)
    return {
        "number": step.number,
        "draw": step.tube.draw,
        "purpose": step.tube.purpose,
        "specimen": step.specimen,
        "mark": step.tube.mark,
        "name": row.kind,
        "then": words.then,
        "html": bytes(visit.page("take_step.html", context).body).decode(),
        "settled": None if tap is None else _settled(tap, site),
        "labelled": is_labelled(taps, step.number),
        "prints": sum(1 for one in taps if one.kind == "printed" and one.step == step.number),
    }


def _settled(tap: Tap, site: Site) -> dict[str, Any]:
    return {
        "kind": tap.kind,
        "at": int(tap.at.timestamp() * 1000),
        "said": say_local(tap.at, site)[11:19],
        "by": tap.by,
        "station": tap.station,
        "why": "" if tap.why is None else WHY_WORDS[tap.why],
    }
