"""`cubital find`: which tests and panels a word may mean, and which tubes a look of a stopper."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, SOME_FAILED, complain, document, write_json


@click.command()
@click.argument("text", nargs=-1, required=True)
@wording.site_options
@wording.as_json
@click.option("--most", metavar="N", type=click.IntRange(1, 1000), default=20, help="Print at most so many; else 20.")
def find(text: tuple[str, ...], site: Path | None, demo: bool, as_json: bool, most: int) -> int:
    """Search the directory, best match first.

    TEXT is part of a name, an abbreviation or a code, or the look of a stopper, which finds the tubes. Exit status 1
    where nothing is near.
    """
    from cubital.app.search import find_kinds, find_tests
    from cubital.errors import CubitalError

    try:
        here = wording.open_chosen(site, demo=demo)
        kinds = find_kinds(" ".join(text), here)
        hits = find_tests(" ".join(text), here, most=most)
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        tubes = [{"key": kind.key, "name": kind.name, "mark": kind.mark, "stopper": kind.stopper} for kind in kinds]
        write_json({"format": "cubital.find/1", "found": [_document(hit) for hit in hits], "tubes": tubes})
    elif hits or kinds:
        for kind in kinds:
            print(f"{kind.key:<34} tube: {kind.name}; stopper {kind.stopper or 'of no known colour'}")
        for hit in hits:
            print(f"{hit.key:<34} {hit.name}" + (f"  ({', '.join(hit.also)})" if hit.also else ""))
    else:
        print(f"cubital: find: found nothing near {' '.join(text)[:60]!r}", file=sys.stderr)
    return 0 if hits or kinds else SOME_FAILED


def _document(hit: Any) -> dict[str, Any]:
    return {"kind": hit.kind, "key": hit.key, "name": hit.name, "also": list(hit.also), "codes": dict(hit.codes)}
