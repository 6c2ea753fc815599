"""The line that each request leaves in the trail, or why it leaves none: a test holds every route to one of the two."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import msgspec

from cubital.web.bench_tube import about_tube
from cubital.web.site_tables_page import about_format
from cubital.web.take_page import about_draw
from cubital.web.visit import Visit


class Line(msgspec.Struct, frozen=True):
    """What was done, of what where that is known, and when it is written: always, or where `when` says so."""

    did: str
    about: Callable[[Visit], str] | None = None
    when: Callable[[Visit], bool] | None = None


def _is_recording(visit: Visit) -> bool:
    return visit.said("do") == "record"


NOTED: Final[Mapping[tuple[str, str], Line]] = {
    ("GET", "/draw"): Line("opened draw"),
    ("GET", "/take"): Line("opened take"),
    ("GET", "/take/draws"): Line("looked at draws in hand", about_draw),
    ("GET", "/bench"): Line("opened the bench"),
    ("POST", "/bench/tube"): Line("wrote the receipt of", about_tube, _is_recording),
    ("POST", "/bench/did"): Line("said what was done with", about_tube),
    ("POST", "/bench/scan"): Line("scanned", about_tube),
    ("GET", "/bench/spin"): Line("opened the spin"),
    ("POST", "/bench/spin"): Line("planned or wrote a spin"),
    ("GET", "/bench/add"): Line("opened adding on"),
    ("POST", "/bench/add"): Line("asked to add to", about_tube),
    ("POST", "/bench/demo"): Line("filled the bench with the invented morning"),
    ("GET", "/morning"): Line("opened the invented morning"),
    ("GET", "/results"): Line("opened results"),
    ("POST", "/results"): Line("had results judged"),
    ("GET", "/site"): Line("opened site"),
    ("GET", "/site/export"): Line("took the site away", lambda visit: "folder"),
    ("GET", "/site/table"): Line("took the site away", about_format),
    ("POST", "/site/tables/change"): Line("brought tables in, tried or saved them"),
    ("GET", "/site/orders"): Line("opened the log of orders"),
    ("GET", "/accounts"): Line("opened accounts"),
    ("GET", "/trail"): Line("opened the trail"),
    ("POST", "/api/plan"): Line("planned by a program"),
}
"""By method and path. It is written before the answer: what cannot be written is not shown."""

OWN: Final = "the page writes its own line, where something is done"
TYPING: Final = "it is asked as one types or by the page itself, on a page whose opening left a line"
NO_PERSON: Final = "it shows the site or the facts, and nothing of a person"
DOOR: Final = "nobody is signed in yet, or it is how pages look"

UNNOTED: Final[Mapping[tuple[str, str], str]] = {
    ("GET", "/"): NO_PERSON,
    ("POST", "/draw"): TYPING,
    ("POST", "/take"): OWN,
    ("POST", "/take/tap"): OWN,
    ("POST", "/take/labels"): OWN,
    ("GET", "/take/shell"): DOOR,
    ("GET", "/take/worker.js"): DOOR,
    ("GET", "/bench/due"): TYPING,
    ("GET", "/bench/pulse"): TYPING,
    ("GET", "/bench/tube"): OWN,
    **dict.fromkeys(
        (("GET", f"/explain{part}") for part in ("", "/order", "/carry-over", "/fill", "/citrate", "/why")), NO_PERSON
    ),
    **dict.fromkeys(
        (
            ("GET", f"/site/{part}")
            for part in ("stock", "test", "panel", "kind", "policy", "versions", "version", "tables")
        ),
        NO_PERSON,
    ),
    **dict.fromkeys((("POST", f"/site/{part}/change") for part in ("test", "panel", "kind", "policy")), OWN),
    ("POST", "/site/restore"): OWN,
    ("POST", "/site/orders"): OWN,
    ("POST", "/accounts"): OWN,
    ("POST", "/trail"): OWN,
    ("GET", "/password"): DOOR,
    ("POST", "/password"): OWN,
    ("POST", "/sign-out"): OWN,
    ("GET", "/sign-in"): DOOR,
    ("POST", "/sign-in"): OWN,
    ("GET", "/set-up"): DOOR,
    ("POST", "/set-up"): OWN,
    ("GET", "/api/tests"): NO_PERSON,
    ("GET", "/api/openapi.json"): DOOR,
    ("POST", "/look"): DOOR,
}
