"""`cubital spin`: which waiting tubes go into which centrifuge, when, and where."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, SOME_FAILED, complain, document, write_json

if TYPE_CHECKING:
    from cubital.model import Site
    from cubital.model.centrifuge import RecordedTube


@click.command()
@click.option("--tubes", "file", metavar="FILE", required=True, help="JSON of the tubes that wait; - reads it in.")
@click.option("--specimens", metavar="FILE", help="JSON of specimens that says the rest of what the tubes are.")
@click.option("--db", "address", metavar="DB", help="The record that says it: a SQLite file or a postgresql URL.")
@click.option("--policy", type=click.Choice(("strict", "extended")), default="strict", show_default=True,
              help="For windows of the record: where sources disagree.")  # fmt: skip
@click.option(
    "--at", metavar="WHEN", help="Local time to plan from, such as 2026-11-25 09:40; else the file's, or now."
)
@click.option("--most-steps", metavar="N", type=click.IntRange(1, 10**9), help="Stop the search after so many states.")
@wording.site_options
@wording.as_json
def spin(
    file: str, specimens: str | None, address: str | None, policy: str, at: str | None, most_steps: int | None,
    site: Path | None, demo: bool, as_json: bool,
) -> int:  # fmt: skip
    """Load the centrifuges: no tube late if that is possible, then the fewest runs.

    The file names each tube with its width, fill, times and what it is spun for; with --db or --specimens its width and
    fill are enough. The site's folder holds centrifuges.toml. Exit status 1 where a tube is late or left out.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.spin_loads import MOST_STEPS, load_centrifuges, spin_document
        from cubital.app.wiring import read_bytes

        here = wording.open_chosen(site, demo=demo)
        data = read_bytes(file, stdin=sys.stdin.buffer)
        loads = load_centrifuges(
            data, here, where="stdin" if file == "-" else Path(file).name, at=at, most_steps=most_steps or MOST_STEPS,
            recorded=_recorded(here, specimens, address, policy),
        )  # fmt: skip
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


def _recorded(here: Site, specimens: str | None, address: str | None, policy: str) -> dict[str, RecordedTube]:
    """What the record, or the file of specimens, knows of the tubes; nothing where neither was named."""
    from cubital.app.spin_loads import waiting_tubes
    from cubital.cli.bench import opened
    from cubital.errors import OrderError
    from cubital.handling.keeping import POLICIES

    if specimens is None and address is None:
        return {}
    if specimens is not None and address is not None:
        raise OrderError("found --db beside it; expected one of the two; take one out", where="--specimens")
    chosen = next(one for one in POLICIES if one == policy)
    with opened(here, file=specimens, address=address or "") as shelf:
        return waiting_tubes(shelf.waiting(), here, policy=chosen)
