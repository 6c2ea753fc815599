"""`cubital suspect`: what may have gone into a tube, from the results that came out of it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json

if TYPE_CHECKING:
    from cubital.cli.sheet import Sheet
    from cubital.inference.verdict import Suspicion

_LEAST_SHOWN = 0.005


@click.command()
@click.argument("results", metavar="RESULTS")
@wording.site_options
@wording.as_json
def suspect(results: str, site: Path | None, demo: bool, as_json: bool) -> int:
    """Weigh what may have gone into the tube behind RESULTS.

    RESULTS is a file of JSON, CSV or FHIR R4 (DiagnosticReport or Bundle), or - for standard input; units are UCUM.
    It supports review by trained staff and never replaces it.
    """
    from cubital.app.suspicion import suspect as suspect_
    from cubital.app.suspicion import suspicion_document
    from cubital.app.wiring import read_bytes, read_samples
    from cubital.errors import CubitalError

    try:
        here = wording.open_chosen(site, demo=demo)
        data = read_bytes(results, stdin=sys.stdin.buffer)
        found = suspect_(read_samples(data, here, where="standard input" if results == "-" else results))
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        for one in found:
            write_json(suspicion_document(one))
        return 0
    from cubital.cli.sheet import sheet_for

    sheet = sheet_for(sys.stdout)
    print("\n\n".join("\n".join(_lines(one, sheet)) for one in found))
    return 0


def _lines(found: Suspicion, sheet: Sheet) -> list[str]:
    head = found.verdict if found.id is None else f"{found.id}: {found.verdict}"
    lines = [sheet.mark(head + (" - draw again" if found.redraw else ""), "stop" if found.redraw else "strong")]
    share = found.fraction
    lines.append("")
    for key, chance in sorted(found.causes, key=lambda pair: -pair[1]):
        if chance >= _LEAST_SHOWN:
            lines.append(f"  {key:<20} {chance:>5.2f}  {sheet.glyphs.now * round(30 * chance)}".rstrip())
    if share.estimate is not None and share.low is not None and share.high is not None:
        lines.append(
            f"  share of the plasma  {100 * share.estimate:.2g} % ({100 * share.low:.2g} to {100 * share.high:.2g} %)"
        )
    lines += ["", *sheet.wrap(f"trusted: {', '.join(found.trusted) or 'none'}", first="  ", rest="    "), ""]
    for reason in found.reasons:
        lines += sheet.wrap(reason, first=f"  {sheet.glyphs.bullet} ", rest="    ")
    for line in found.unread:
        lines += sheet.wrap(f"not used: {line}", first="  ", rest="    ")
    return lines
