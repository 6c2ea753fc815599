"""`cubital spin`: which waiting tubes go into which centrifuge, when, and where."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, SOME_FAILED, complain, document, write_json


@click.command()
@click.option("--tubes", "file", metavar="FILE", required=True, help="JSON of the tubes that wait; - reads it in.")
@click.option(
    "--at", metavar="WHEN", help="Local time to plan from, such as 2026-11-25 09:40; else the file's, or now."
)
@click.option("--most-steps", metavar="N", type=click.IntRange(1, 10**9), help="Stop the search after so many states.")
@wording.site_options
@wording.as_json
def spin(file: str, at: str | None, most_steps: int | None, site: Path | None, demo: bool, as_json: bool) -> int:
    """Load the centrifuges: no tube late if that is possible, then the fewest runs.

    The file names each tube with its kind, fill, times and what it is spun for; the site's folder holds
    centrifuges.toml. Exit status 1 where a tube is late or left out.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.spin_loads import MOST_STEPS, load_centrifuges, spin_document
        from cubital.app.wiring import read_bytes

        here = wording.open_chosen(site, demo=demo)
        data = read_bytes(file, stdin=sys.stdin.buffer)
        where = "stdin" if file == "-" else Path(file).name
        loads = load_centrifuges(data, here, where=where, at=at, most_steps=most_steps or MOST_STEPS)
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        write_json(spin_document(loads))
    else:
        from cubital.cli.rotor import draw_loads
        from cubital.cli.sheet import sheet_for

        print(*draw_loads(loads, sheet_for(sys.stdout)), sep="\n")
    return SOME_FAILED if loads.plan.missed or loads.plan.left_out else 0
