"""Results out of files and out of what a person typed."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Any

from cubital.app.clock import today as read_today
from cubital.errors import ExchangeError, OrderError
from cubital.model import Site

if TYPE_CHECKING:
    from cubital.model.results import ResultSet, TypedLine


def read_samples(
    data: bytes | str, site: Site, *, where: str = "results", today: datetime.date | None = None
) -> tuple[ResultSet, ...]:
    """The samples in a file of results: our own JSON, FHIR R4 where it has a `resourceType`, else CSV.

    A tube is a kind of the site or an additive. Raises `ExchangeError` where it is none of the three, `UnitError` where
    a unit is missing or foreign, and `OrderError`, with the place, for the rest.

    >>> from cubital.app.wiring import open_site
    >>> found = read_samples("code,value,unit\\nK,4.2,mmol/L\\n", open_site())
    >>> found[0].results[0].analyte
    'potassium'
    """
    from cubital.app.carry_over import additive_of

    data = data.encode() if isinstance(data, str) else data
    of_site = partial(additive_of, site=site)
    start = data.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not start:
        raise ExchangeError("found nothing; expected results in JSON, CSV or FHIR; write one at least", where=where)
    if start[:1] not in b"{[":
        from cubital.exchange.results_table import read_results_table

        return tuple(read_results_table(data, additive_of=of_site, where=where))
    from cubital.exchange.json_bytes import decode_json

    value = decode_json(data, where=where)
    if isinstance(value, dict) and "resourceType" in value:
        from cubital.exchange.fhir_results import read_fhir_results

        return tuple(read_fhir_results(data, additive_of=of_site, where=where))
    from cubital.exchange.results_file import read_results

    return tuple(read_results(data, additive_of=of_site, where=where, today=today or read_today()))


def read_typed_results(
    text: str, earlier: str, fields: Mapping[str, Any], site: Site, *, hours_before: Decimal | None
) -> tuple[tuple[TypedLine, ...], tuple[TypedLine, ...], ResultSet | None]:
    """The lines that a person typed, those of earlier results, and the sample; no sample where a line is refused.

    Raises `OrderError` and `UnitError` for the fields beside the lines, and where no analyte is known.
    """
    from cubital.app.carry_over import additive_of
    from cubital.exchange.results_typed import MOST_LINES, read_typed_lines, sample_of_lines

    lines = read_typed_lines(text)
    before = read_typed_lines(earlier, hours_before=hours_before, is_earlier=True)
    if len(lines) + len(before) > MOST_LINES:
        raise OrderError(f"found {len(lines) + len(before)} lines; expected at most {MOST_LINES}", where="results")
    is_refused = any(line.is_refused for line in (*lines, *before))
    if is_refused or not any(line.result is not None for line in lines):
        return tuple(lines), tuple(before), None
    sample = sample_of_lines(lines, before, fields, additive_of=partial(additive_of, site=site))
    return tuple(lines), tuple(before), sample


def is_results_table(text: str) -> bool:
    """Whether what was pasted is JSON or a table with a heading, which `read_samples` reads."""
    from cubital.exchange.results_typed import is_table

    return is_table(text)
