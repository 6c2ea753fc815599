"""The fields of the Site page's forms: which there are, beside which a finding stands, and values as text in them."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import msgspec

from cubital.app.site_form import Edit, Form
from cubital.app.site_kind_form import KIND_FORM, MOST_SIZES, SIZE_FIELDS
from cubital.app.site_panel_form import MOST_STEPS, PANEL_FORM
from cubital.app.site_policy_form import POLICY_FORM
from cubital.app.site_test_form import MOST_ACCEPTS, TEST_FORM
from cubital.model import Finding
from cubital.model.vocabulary import MATRICES


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """One kind of form as a page: its template, its address, its part of the page and its word for an entry."""

    form: Form
    template: str
    path: str
    part: str
    noun: str
    fields: tuple[str, ...]
    """Every field beside which a finding may stand."""


def _cells(name: str, rows: int, fields: tuple[str, ...]) -> list[str]:
    return [f"{name}.{row}.{field}" for row in range(rows) for field in fields]


TEST = Sheet(
    form=TEST_FORM, template="site_test.html", path="/site/test", part="tests", noun="test",
    fields=(
        "", "name", "also", "bench", "codes", "accepts",
        *_cells("accepts", MOST_ACCEPTS, ("matrix", "tubes", "volume_ul", "minimum_ul")),
        "own_tube", "timed", "moment", "rank", "caution",
    ),
)  # fmt: skip
PANEL = Sheet(
    form=PANEL_FORM, template="site_panel.html", path="/site/panel", part="tests", noun="panel",
    fields=(
        "", "name", "also", "codes", "tests", "series", *_cells("series", MOST_STEPS, ("at_min", "tests")),
        "anchor", "of",
    ),
)
KIND = Sheet(
    form=KIND_FORM, template="site_kind.html", path="/site/kind", part="stock", noun="tube kind",
    fields=(
        "", "name", "stopper", "mark", "sizes", *_cells("sizes", MOST_SIZES, SIZE_FIELDS),
        *(f"dead_volume_ul.{matrix}" for matrix in MATRICES), "additive", "accesses", "fill_min_percent", "inversions",
        "place",
    ),
)  # fmt: skip
POLICY = Sheet(
    form=POLICY_FORM, template="site_policy.html", path="/site/policy", part="policy", noun="policy",
    fields=(
        "", "name", "time_zone", "order_of_draw", "objective", "share_benches", "recovery", "hematocrit", "blood_limit",
        "altitude_m", "near_limit_percent", "reserve_percent", "line_discard", "whole_blood_tests", "usual_travel_min",
        "windows", "travel", "hemolysis_band",
    ),
)  # fmt: skip


def lint_by_field(fields: tuple[str, ...], edit: Edit) -> dict[str, tuple[Finding, ...]]:
    """The findings by the name of the field that shows them; "" shows those of no field of this form."""
    lint: dict[str, tuple[Finding, ...]] = dict.fromkeys(fields, ())
    for field, found in edit.at_field.items():
        shown = next((one for one in (field, field.partition(".")[0]) if one in lint), "")
        lint[shown] = (*lint[shown], *found)
    return lint


def codes_text(codes: Mapping[str, str] | None) -> str:
    """The codes of a test as the form writes them, one a line.

    >>> codes_text({"loinc": "2823-3"})
    'loinc 2823-3'
    """
    return "\n".join(f"{system} {code}".strip() for system, code in (codes or {}).items())


def groups_text(groups: list[list[str]] | None) -> str:
    """Groups of benches as the form writes them, one a line."""
    return "\n".join(", ".join(group) for group in groups or ())


def travel_text(minutes_of: Mapping[str, object] | None) -> str:
    """Places and their minutes as the form writes them, one place a line.

    >>> travel_text({"ward": 25, "home visit": 120})
    'ward: 25\\nhome visit: 120'
    """
    return "\n".join(f"{place}: {minutes}" for place, minutes in (minutes_of or {}).items())


def number_text(value: object) -> str:
    """A value as the form writes it: a number without needless zeros, empty for none.

    >>> number_text(Decimal("2.70")), number_text(Decimal("10")), number_text(None), number_text("2,7")
    ('2.7', '10', '', '2,7')
    """
    if isinstance(value, Decimal):
        text = f"{value:f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    return "" if value is None else str(value)
