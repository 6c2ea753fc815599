"""A scan at the Bench page: sent on to the tube where it is one, and into no address where it is not."""

from __future__ import annotations

from starlette.responses import Response

from cubital.app.counter import tube_on_record
from cubital.web.bench_tube import not_on_record, quoted
from cubital.web.visit import Visit


def take_scan(visit: Visit) -> Response:
    """Send on to the tube that was scanned; what is no specimen here, as a wristband, goes into no address."""
    id, left = (" ".join(visit.said(name).split()) for name in ("specimen", "left"))
    if tube_on_record(visit.desk.record, id) is None:
        return not_on_record(visit, "What was scanned is no specimen known here. Scan the label on the tube.")
    is_left = left != id and tube_on_record(visit.desk.record, left) is not None
    return visit.go(f"/bench/tube?specimen={quoted(id)}" + (f"&left={quoted(left)}" if is_left else ""))
