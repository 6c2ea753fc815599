"""What a weight or a height can be at an age; only what nobody has is called implausible."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from typing import Any

import msgspec

from cubital.errors import FactsError
from cubital.facts.reading import read_table, refuse_unknown, shape
from cubital.facts.sources import Mark, check_marks

FILE = "plausibility.toml"
HOURS_PER_DAY = 24


class Span(msgspec.Struct, frozen=True, kw_only=True):
    """The least and the most that is possible from an age on and below another; None is no end."""

    from_h: int
    below_h: int | None
    least: Decimal
    most: Decimal


class Possible(msgspec.Struct, frozen=True, kw_only=True):
    """What one measure can be: at any age, and in each band of age. In the unit of its file."""

    least: Decimal
    most: Decimal
    spans: tuple[Span, ...]
    mark: Mark

    def at(self, age_h: int | None) -> tuple[Decimal, Decimal]:
        """The least and the most at this age; at any age where it is not known."""
        for span in self.spans if age_h is not None else ():
            if age_h is not None and span.from_h <= age_h and (span.below_h is None or age_h < span.below_h):
                return span.least, span.most
        return self.least, self.most


class Plausibility(msgspec.Struct, frozen=True, kw_only=True):
    """What the body of a patient can measure."""

    weight_kg: Possible
    height_cm: Possible


@cache
def plausibility() -> Plausibility:
    """What a patient can weigh (kg) and how tall one can be (cm), by age.

    >>> least, most = plausibility().weight_kg.at(4 * 8766)
    >>> least < 16 < most
    True
    """
    return load_plausibility(read_table(FILE), file=FILE)


def load_plausibility(table: Mapping[str, Any], *, file: str) -> Plausibility:
    """The measures a parsed table holds; refuses bands that leave an age out or name one twice."""
    refuse_unknown(table, ("weight", "height"), file=file)
    found = Plausibility(
        weight_kg=_load(table, "weight", "kg", file=file), height_cm=_load(table, "height", "cm", file=file)
    )
    check_marks(found, file=file, entry="weight, height")
    return found


def _load(table: Mapping[str, Any], measure: str, unit: str, *, file: str) -> Possible:
    entry = table.get(measure)
    where = f"{file} [{measure}]"
    if not isinstance(entry, dict) or not isinstance(entry.get("bands"), list) or not entry["bands"]:
        raise FactsError("found no bands; expected one at least; add them", where=where)
    spans = []
    end_d: int | None = 0
    for band in entry["bands"]:
        if end_d is None or band.get("from_d") != end_d:
            raise FactsError(
                f"found a band from day {band.get('from_d')}; expected it to begin where the last one ends; "
                "correct from_d",
                where=where,
            )
        end_d = band.get("below_d")
        spans.append(
            {
                "from_h": band["from_d"] * HOURS_PER_DAY,
                "below_h": None if end_d is None else end_d * HOURS_PER_DAY,
                "least": band.get(f"least_{unit}"),
                "most": band.get(f"most_{unit}"),
            }
        )
    if end_d is not None:
        raise FactsError("found an end to the last band; expected none; remove its below_d", where=where)
    values = {
        "least": entry.get(f"least_{unit}"),
        "most": entry.get(f"most_{unit}"),
        "spans": spans,
        "mark": entry.get("from"),
    }
    return shape(values, Possible, file=file, entry=measure)
