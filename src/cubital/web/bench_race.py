"""What the pages of the bench tell the second of two who wrote to one specimen: who was first, with what, when."""

from __future__ import annotations

from cubital.errors import LostRace
from cubital.web.bench_times import Times
from cubital.web.visit import Visit

_DID = {"aliquoted": "poured off", "added": "added to", "reported": "reported from", "discarded": "thrown away"}


def who_was_first(error: LostRace, visit: Visit) -> str:
    """Who was first with this specimen, and that nothing of this visitor's was recorded."""
    when = "" if error.at is None else f" at {Times(visit.desk.site, visit.desk.now()).short(error.at)}"
    did = _DID.get(error.did, error.did or "changed")
    return (
        f"{error.by} at {error.station} was first: {error.specimen} was {did}{when}. Nothing of yours was recorded. "
        "Look at how it stands now."
    )
