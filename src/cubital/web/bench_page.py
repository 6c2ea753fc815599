"""The Bench page: what is due now, most urgent first, looked at again every few seconds."""

from __future__ import annotations

from typing import Any

from starlette.responses import Response

from cubital.app.demo_morning import invent_morning, offers_morning
from cubital.errors import CubitalError
from cubital.web.bench_rows import HOURS, NOW_AT, rows_of
from cubital.web.bench_times import Times
from cubital.web.visit import Visit

PLACES = (("due", "Due now", "/bench"), ("spin", "Spin", "/bench/spin"), ("add", "Add or draw again", "/bench/add"))
STATION = "bench page"
STEP, MOST = 40, 600
"""How many lines the board shows at first and how many more at a time, and how many at most."""


def open_board(visit: Visit) -> Response:
    """The board, and the field into which a tube is scanned."""
    return visit.page("bench.html", {**_board(visit), **frame(visit, "due")})


def due(visit: Visit) -> Response:
    """The board alone, as it is now."""
    return visit.page("bench_due.html" if visit.is_partial else "bench.html", {**_board(visit), **frame(visit, "due")})


def pulse(visit: Visit) -> Response:
    """That the server is there and knows who asks; nothing else."""
    return Response(status_code=204)


def fill_demo(visit: Visit) -> Response:
    """Put the invented morning into the empty record of the demo site."""
    desk = visit.desk
    if not offers_morning(desk.record, is_demo=desk.settings.is_demo):
        said = "Invented specimens go only into an empty record of the demo site. Nothing was recorded."
        return visit.page("bench.html", {**_board(visit), **frame(visit, "due", said=said)}, status=409)
    try:
        invent_morning(desk.record, desk.site, now=desk.now())
    except CubitalError as error:
        return visit.page("bench.html", {**_board(visit), **frame(visit, "due", said=str(error))}, status=409)
    return visit.go("/bench")


def frame(visit: Visit, here: str, *, said: str = "") -> dict[str, Any]:
    """What every page of the bench shows around its own: which of them it is, and what was refused."""
    return {"here": here, "said": said, "is_demo": visit.desk.settings.is_demo, "places": PLACES, "takes_scans": True,
            "answered_at": Times(visit.desk.site, visit.desk.now()).to_second()}  # fmt: skip


def strips_of() -> dict[str, Any]:
    """The strip of time that every line shares."""
    return {"hours": HOURS, "now_at": NOW_AT}


def _board(visit: Visit) -> dict[str, Any]:
    desk = visit.desk
    text = visit.query.get("most", "")
    asked = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else STEP
    most = min(max(asked, STEP), MOST)
    rows = rows_of(desk.board.look(desk.now(), most=most), desk.site)
    return {
        "board": rows, "most": most, "next_most": min(most + STEP, MOST), **strips_of(),
        "is_offered": rows.total == 0 and offers_morning(desk.record, is_demo=desk.settings.is_demo),
    }  # fmt: skip
