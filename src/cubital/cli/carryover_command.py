"""`cubital carryover`: what blood of one tube does in another, and the order of draw that harms least."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json

if TYPE_CHECKING:
    from cubital.app.carry_over import Blood, CarryOver
    from cubital.cli.sheet import Sheet

WAYS = "closed, syringe or poured"


@click.command()
@click.argument("tubes", nargs=-1, required=True)
@click.option("--volume-ul", metavar="UL", help="Content of the first tube that gets into the second.")
@click.option("--into-ml", metavar="ML", help="Blood in the second tube; else its smallest stock size.")
@click.option("--way", metavar="WORD", default="closed", help=f"How it gets there: {WAYS}; else closed.")
@click.option("--order", "as_order", is_flag=True, help="Derive the order of draw of these tubes.")
@click.option("--hematocrit", metavar="SHARE", help="Hematocrit as a share; else 0.45.")
@click.option(
    "--value", "values", metavar="ANALYTE=N", multiple=True, help='Result without carry-over: "potassium=5.1".'
)
@click.option(
    "--assay", "assays", metavar="ANALYTE=WORD", multiple=True, help="Assay: magnesium=isocitrate-dehydrogenase."
)
@click.option("--limits", metavar="WORD", help="clia-2025, clia-1992 or rcpaqap; else the first known.")
@click.option("--plot", metavar="FILE", type=click.Path(path_type=Path), help="Draw bias against volume: .svg or .png.")
@wording.site_options
@wording.as_json
def carryover(
    tubes: tuple[str, ...], site: Path | None, demo: bool, as_json: bool, as_order: bool, plot: Path | None, **said: Any
) -> int:
    """Compute what a trace of one tube does in another.

    TUBES are two tube kinds or additives, the one drawn first before the other; with --order two or more.
    Without --volume-ul it says which volume it would take. Nothing here says that a sample is sound or spoiled.
    """
    from cubital.errors import CubitalError

    try:
        here = wording.open_chosen(site, demo=demo)
        blood = _blood(said)
        if as_order:
            _derive(tubes, here, blood, said, plot=plot, as_json=as_json)
        else:
            _spill(tubes, here, blood, said, plot=plot, as_json=as_json)
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    return 0


def _blood(said: dict[str, Any]) -> Blood:
    from cubital.app.carry_over import Blood

    return Blood(
        hematocrit=wording.read_number(said["hematocrit"], where="--hematocrit"),
        values={
            key: wording.need_number(text, where=f"--value {key}") for key, text in _pairs(said["values"], "--value")
        },
        principles=dict(_pairs(said["assays"], "--assay")),
        scheme=said["limits"],
    )


def _pairs(texts: tuple[str, ...], where: str) -> list[tuple[str, str]]:
    from cubital.errors import OrderError

    found = [text.partition("=") for text in texts]
    for key, equals, value in found:
        if not (key and equals and value):
            raise OrderError(f"found {key[:40]!r}; expected a name, = and a value", where=where)
    return [(key, value) for key, _, value in found]


def _spill(
    tubes: tuple[str, ...], here: Any, blood: Blood, said: dict[str, Any], *, plot: Path | None, as_json: bool
) -> None:
    from cubital.app.carry_over import carry_over, carry_over_document
    from cubital.errors import OrderError
    from cubital.units import microlitres

    if len(tubes) != 2:
        raise OrderError(f"found {len(tubes)} tubes; expected two, or --order", where="command line")
    into_ml = said["into_ml"]
    found = carry_over(
        *tubes, here, way=said["way"], blood=blood,
        carried_ul=wording.read_number(said["volume_ul"], where="--volume-ul"),
        blood_ul=None if into_ml is None else microlitres(into_ml, where="--into-ml"),
    )  # fmt: skip
    if plot is not None:
        from cubital.cli.plots import plot_carry_over

        plot_carry_over(found, here, blood, plot)
    if as_json:
        write_json(carry_over_document(found))
        return
    from cubital.cli.sheet import sheet_for

    print(*_lines(found, sheet_for(sys.stdout)), sep="\n")


def _lines(found: CarryOver, sheet: Sheet) -> list[str]:
    from cubital.app.carry_over import CAUTION
    from cubital.units import millilitres_text

    volume = "a trace" if found.carried_ul is None else f"{found.carried_ul:g} uL"
    into = f"{millilitres_text(found.blood_ul)} mL"
    head = f"{found.from_} into {found.into}: {volume} of {found.additive} blood into {into}"
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(head)]
    lines += [line for text in found.taken for line in sheet.wrap(f"taken: {text}", first="  ", rest="    ")]
    moved = [change for change in found.changes if _is_shown(change)]
    if found.carried_ul is not None:
        lines += ["", *_table(moved)] if moved else []
        still = ", ".join(change.analyte for change in found.changes if change not in moved)
        lines += sheet.wrap(f"moved by less than 0.1 %: {still}", first="  ", rest="    ") if still else []
    if found.limits:
        lines += ["", "  Volume that uses up the whole allowable error"]
        for limit in found.limits:
            at = "no volume up to the tube's own" if limit.carried_ul is None else f"{limit.carried_ul:.3g} uL"
            lines += [f"    {limit.analyte:<22} {at:<32} {limit.allowable:.3g} {limit.unit}, {limit.scheme}"]
    if found.withheld:
        lines += ["", *sheet.wrap(f"not known, so not said: {', '.join(found.withheld)}", first="  ", rest="    ")]
    if found.claims:
        lines += ["", "  Known in kind only, without a number"]
        for claim in found.claims:
            lines += sheet.wrap(
                f"{claim.text} [{claim.mark.label()}]", first=f"    {sheet.glyphs.bullet} ", rest="      "
            )
    lines += ["", *sheet.wrap(f"{found.way.name}: {found.way.text}", first="  ", rest="    ")]
    return lines + sheet.wrap(CAUTION, first="  ", rest="    ")


def _is_shown(change: Any) -> bool:
    """Whether an analyte moves enough for a row of its own: a thousandth of its value, or from nothing."""
    return any(abs(value - change.before) > 0.001 * change.before for value in (change.after, change.low, change.high))


def _table(changes: list[Any]) -> list[str]:
    rows = [f"  {'analyte':<22} {'before':>8} {'after':>8}  {'from - to':<17} {'change':>8}  allowable errors"]
    for c in changes:
        percent = "" if c.percent is None else f"{c.percent:+.1f} %"
        share = "none known" if c.share_of_allowable is None else f"{c.share_of_allowable:.2f} ({c.scheme})"
        span = f"{c.low:.4g} - {c.high:.4g}"
        rows.append(f"  {c.analyte:<22} {c.before:>8.4g} {c.after:>8.4g}  {span:<17} {percent:>8}  {share}")
    return rows


def _derive(
    tubes: tuple[str, ...], here: Any, blood: Blood, said: dict[str, Any], *, plot: Path | None, as_json: bool
) -> None:
    from cubital.app.derived_order import TAKEN_UL, derive_order, derived_order_document
    from cubital.cli.derived_order import order_lines
    from cubital.cli.sheet import sheet_for
    from cubital.errors import OrderError

    if plot is not None:
        raise OrderError("found it beside --order, which has no picture; take one out", where="--plot")
    volume_ul = wording.read_number(said["volume_ul"], where="--volume-ul")
    found = derive_order(tubes, here, carried_ul=TAKEN_UL if volume_ul is None else volume_ul, blood=blood)
    if as_json:
        write_json(derived_order_document(found))
    else:
        print(*order_lines(found, sheet_for(sys.stdout)), sep="\n")
