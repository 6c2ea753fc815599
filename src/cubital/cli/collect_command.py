"""`cubital collect`: put what a plan drew into the record."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from cubital.cli import wording
from cubital.cli.bench import Times, instant, local_day, refuse
from cubital.cli.complaint import REFUSED, write_json


@click.command()
@click.argument("order", metavar="ORDER")
@click.option("--prefix", metavar="NAME", required=True, help="Specimens are named NAME-1, NAME-2, by their position.")
@click.option("--patient", metavar="KEY", required=True, help="The site's own key of the patient, never a name.")
@click.option("--by", metavar="WHO", required=True, help="Who drew.")
@click.option("--station", metavar="WHERE", default="prompt", help="Where.")
@click.option("--draw", metavar="N", type=click.IntRange(1, 99), default=1, help="Which draw of a timed series.")
@click.option("--irreplaceable", metavar="WHY", help="Why it cannot be drawn again, such as a bleeding child.")
@click.option("--at", metavar="WHEN", help="Local time instead of now, such as 2026-11-25 09:40.")
@wording.record_option
@wording.as_json
@wording.site_options
def collect(
    order: str, prefix: str, patient: str, by: str, station: str, draw: int, irreplaceable: str | None,
    at: str | None, address: str, as_json: bool, site: Path | None, demo: bool,
) -> int:  # fmt: skip
    """Record the tubes of the plan for ORDER (a JSON file, - for standard input) as collected.

    The order is planned as `cubital plan --order` plans it. A discard is no specimen. A retry changes
    nothing. Label at the patient, after filling; a tube that was not drawn is discarded in the record.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app import wiring
        from cubital.app.collecting import Taken, collect_document
        from cubital.app.collecting import collect as collect_
        from cubital.app.draws import dated, plan_order
        from cubital.errors import OrderError

        here = wording.open_chosen(site, demo=demo)
        moment = instant(at, here)
        where = "standard input" if order == "-" else order
        day = local_day(moment, here)
        data = wiring.read_bytes(order, stdin=sys.stdin.buffer)
        found = wiring.read_request(data, here, where=where, today=day)
        if len(found) != 1:
            raise OrderError(f"found {len(found)} orders; expected one; collect each by itself", where=where)
        asked = dated(found[0], day)
        # With every word that does not settle: the record refuses it, naming them all.
        plan = plan_order(asked, here, leave_unsettled=True)
        taken = Taken(prefix, patient, by, station, draw, irreplaceable)
        record = wiring.open_record(address)
        try:
            recorded = collect_(record, plan, asked, taken, at=moment)
        finally:
            record.close()
    except CubitalError as error:
        refuse(
            error, as_json=as_json,
            if_reused=f"--prefix {prefix} names other tubes already: another patient, order or collector; name another",
        )  # fmt: skip
        return REFUSED
    if as_json:
        write_json(collect_document(recorded))
        return 0
    times = Times(here, moment)
    for specimen in recorded.specimens:
        print(f"{specimen.id}  {specimen.kind}  {times.whole(specimen.collected_at)}  {', '.join(specimen.tests)}")
    if recorded.is_repeat:
        print(f"recorded before; nothing was written twice; another draw needs another --prefix than {prefix}")
    return 0
