"""A scan at the Bench page: sent on to the tube where it is one, and into no address where it is not."""

from __future__ import annotations

from starlette.responses import Response

from cubital.app.counter import open_tube
from cubital.errors import CubitalError, RecordUnavailable
from cubital.web.bench_page import frame
from cubital.web.bench_tube import nothing, quoted
from cubital.web.visit import Visit


def take_scan(visit: Visit) -> Response:
    """Send on to the tube that was scanned; what is no specimen here, as a wristband, goes into no address."""
    id, left = (" ".join(visit.said(name).split()) for name in ("specimen", "left"))
    if not _is_known(visit, id):
        said = "What was scanned is no specimen known here. Scan the label on the tube."
        return visit.page("bench_tube.html", {**frame(visit, "due", said=said), **nothing("no such tube")}, status=404)
    is_left = left != id and _is_known(visit, left)
    return visit.go(f"/bench/tube?specimen={quoted(id)}" + (f"&left={quoted(left)}" if is_left else ""))


def _is_known(visit: Visit, id: str) -> bool:
    try:
        return open_tube(visit.desk.record, id).specimen.id == id
    except RecordUnavailable:
        raise
    except CubitalError:
        return False
