"""`cubital find`: which tests and panels a word may mean."""

from __future__ import annotations

import sys
from typing import Annotated, Any

import typer

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, SOME_FAILED, complain, document, write_json

Words = Annotated[list[str], typer.Argument(metavar="TEXT", help="Part of a name, an abbreviation or a code.")]
Most = Annotated[int, typer.Option("--most", metavar="N", min=1, max=1000, help="Print at most so many.")]


def find(
    text: Words,
    site: wording.SiteFolder = None,
    demo: wording.DemoSite = False,
    json: wording.AsJson = False,
    most: Most = 20,
) -> int:
    """Search the directory: the best match first. Exit status 1 where nothing is near."""
    from cubital.app.search import find_tests
    from cubital.errors import CubitalError

    try:
        hits = find_tests(" ".join(text), wording.open_chosen(site, demo=demo), most=most)
    except CubitalError as error:
        complain(error)
        if json:
            write_json(document(error))
        return REFUSED
    if json:
        write_json({"format": "cubital.find/1", "found": [_document(hit) for hit in hits]})
    elif hits:
        for hit in hits:
            print(f"{hit.key:<34} {hit.name}" + (f"  ({', '.join(hit.also)})" if hit.also else ""))
    else:
        print(f"cubital: find: found nothing near {' '.join(text)[:60]!r}", file=sys.stderr)
    return 0 if hits else SOME_FAILED


def _document(hit: Any) -> dict[str, Any]:
    return {"kind": hit.kind, "key": hit.key, "name": hit.name, "also": list(hit.also), "codes": dict(hit.codes)}
