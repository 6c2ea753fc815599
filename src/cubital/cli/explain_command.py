"""`cubital explain`: why, and what each source says."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json


@click.command()
@click.argument("names", nargs=-1, required=True)
@wording.site_options
@wording.as_json
@wording.patient_options
@wording.on_day
def explain(names: tuple[str, ...], site: Path | None, demo: bool, as_json: bool, **said: Any) -> int:
    """Say why: this tube, this size, this place; and what each source holds.

    NAMES are tests as for plan, or a tube kind, an additive, a stopper's colour, an order of draw, a blood limit, an
    access, or safety.

    Every statement is followed by what it rests on: a standard or a publication and how it was
    seen (read, abstract, second-hand), memory, common practice, a computation, or the site itself.
    """
    from cubital.app.plan_explanation import explain_words
    from cubital.cli.explanation import draw_explanations
    from cubital.cli.sheet import sheet_for
    from cubital.errors import CubitalError

    here = None
    try:
        here = wording.open_chosen(site, demo=demo)
        told = explain_words(wording.read_options(names, said, zone=here.time_zone), here)
    except CubitalError as error:
        complain(error, site=here)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        from cubital.app.explanation import explanation_document

        write_json(explanation_document(told))
    else:
        print(*draw_explanations(told, sheet_for(sys.stdout)), sep="\n")
    return 0
