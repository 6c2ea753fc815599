"""`cubital fill`: how full each tube comes out here, and what to discard first."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json

if TYPE_CHECKING:
    from cubital.app.fill import Conditions, FillReport, TubeFill
    from cubital.cli.sheet import Sheet
    from cubital.model import Site


@click.command()
@click.argument("kinds", nargs=-1)
@click.option("--altitude-m", metavar="M", help="Altitude in metres; else the site's.")
@click.option("--temperature-c", metavar="C", help="Warmth of the tube in C; else 20.")
@click.option("--gas-share", metavar="SHARE", help="Nominal draw over gas space of the empty tube; ask the maker.")
@click.option(
    "--access", metavar="WORD", default="straight-needle", help="straight-needle, winged-set, syringe or line."
)
@click.option("--dead-ml", metavar="ML", help="Dead space of the line or set; else what sources give.")
@click.option("--tubing-mm", metavar="LENGTH BORE", nargs=2, help="Tubing of a winged set, instead of --dead-ml.")
@click.option(
    "--plot", metavar="FILE", type=click.Path(path_type=Path), help="Draw fill against altitude: .svg or .png."
)
@wording.site_options
@wording.as_json
def fill(kinds: tuple[str, ...], site: Path | None, demo: bool, as_json: bool, plot: Path | None, **said: Any) -> int:
    """Compute how full tubes come out.

    KINDS are tube kinds of the site; all that are evacuated where none is named.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.fill import fill_document, fill_report

        here = wording.open_chosen(site, demo=demo)
        found = fill_report(kinds, here, _conditions(said, here))
        if plot is not None:
            from cubital.cli.plots import plot_fill

            plot_fill(found, plot)
        if as_json:
            write_json(fill_document(found))
        else:
            from cubital.cli.sheet import sheet_for

            print(*_lines(found, sheet_for(sys.stdout)), sep="\n")
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    return 0


def _conditions(said: dict[str, Any], here: Site) -> Conditions:
    from cubital.app.fill import Conditions, dead_of_tubing_ul
    from cubital.errors import OrderError

    altitude_m = wording.number_within(said["altitude_m"], -500, 11_000, where="--altitude-m", unit="m")
    gas_share = wording.number_within(said["gas_share"], 0.01, 1, where="--gas-share", unit="as a share, such as 0.675")
    temperature_c = wording.number_within(said["temperature_c"], -40, 60, where="--temperature-c", unit="C")
    dead_ul = wording.number_within(said["dead_ml"], 0, 20, where="--dead-ml", unit="mL", times=1000)
    if said["tubing_mm"]:
        if dead_ul is not None:
            raise OrderError("found it beside --dead-ml; expected one of them; take one out", where="--tubing-mm")
        dead_ul = dead_of_tubing_ul(*(wording.need_number(text, where="--tubing-mm") for text in said["tubing_mm"]))
    return Conditions(
        altitude_m=float(here.planning.altitude_m) if altitude_m is None else altitude_m,
        temperature_c=20.0 if temperature_c is None else temperature_c,
        gas_share=gas_share, access=said["access"], dead_ul=dead_ul,
    )  # fmt: skip


def _lines(found: FillReport, sheet: Sheet) -> list[str]:
    from cubital.units import millilitres_text

    head = (
        f"Fill at {found.altitude_m:g} m ({found.pressure_kpa:.2f} kPa), tube at {found.temperature_c:g} C, "
        f"{found.access}, {found.dead_ul / 1000:.3g} mL of dead space"
    )
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(head, rest="  ")]
    shares = ", ".join(f"{share:g}" for share in found.gas_shares)
    lines += sheet.wrap(f"fill in % where the draw fills {shares} of the gas space", first="  ", rest="    ")
    has_first = any(row.fills != row.first_fills for row in found.tubes)
    lines += ["", f"  {'tube':<24} {'mL':>5}  {'fill, %':<26}{'first tube, %' if has_first else ''}".rstrip()]
    for row in found.tubes:
        first = _percents(row.first_fills) if has_first else ""
        lines.append(f"  {row.kind:<24} {millilitres_text(row.draw_ul):>5}  {_percents(row.fills):<26}{first}".rstrip())
    for kind in dict.fromkeys(row.kind for row in found.tubes):
        lines += _limit_lines([row for row in found.tubes if row.kind == kind], sheet)
    lines += ["", *_discard_lines(found, sheet)] if found.discards else []
    for note in found.notes:
        lines += sheet.wrap(note, first="  ", rest="    ")
    return lines


def _percents(fills: tuple[float, ...]) -> str:
    return " ".join(f"{100 * fill:5.1f}" for fill in fills)


def _limit_lines(rows: list[TubeFill], sheet: Sheet) -> list[str]:
    """What the sizes of a kind with a least fill come to: where they fail, what it takes, the citrate they end with."""
    from cubital.units import millilitres_text

    row = rows[0]
    if row.fill_min_percent is None:
        return []
    least = row.fill_min_percent
    words = [f"least fill {least} %: every size {_verdict(row.fills, least)}"]
    if any(each.first_fills != each.fills for each in rows):
        sizes = [f"{millilitres_text(each.draw_ul)} mL {_verdict(each.first_fills, least)}" for each in rows]
        words.append(f"as first tube of the draw: {'; '.join(sizes)}")
    altitudes = ", ".join("nowhere" if at is None else f"{at:.0f} m" for at in row.short_from_m)
    words.append(f"falls short from {altitudes}")
    if row.least_gas_share:
        words.append(f"here the draw must fill at least {row.least_gas_share:.3f} of the gas space")
    if row.citrate_mmol_per_l:
        ratios = ", ".join(f"{ratio:.1f}" for ratio in row.blood_to_citrate)
        final = ", ".join(f"{mmol:.1f}" for mmol in row.citrate_mmol_per_l)
        words.append(
            f"{ratios} of blood to one of citrate, {final} mmol/L of citrate in the tube (109 mmol/L solution)"
        )
    bullet = f"    {sheet.glyphs.bullet} "
    return ["", f"  {row.kind}"] + [line for word in words for line in sheet.wrap(word, first=bullet, rest="      ")]


def _verdict(fills: tuple[float, ...], least: int) -> str:
    marks = ["is full enough" if 100 * fill >= least - 1e-9 else "FALLS SHORT" for fill in fills]
    return marks[0] if len(set(marks)) == 1 else ", ".join(marks)


def _discard_lines(found: FillReport, sheet: Sheet) -> list[str]:
    lines = ["  Discard first"]
    for rule in found.discards:
        need = "yes" if rule.needed else "no"
        volume = "" if rule.volume_ul is None else f", {rule.volume_ul / 1000:g} mL"
        what = f": {rule.what}{volume}" if rule.what else ""
        text = f"when {rule.when}: {need}{what} [{rule.rests_on}]"
        lines += sheet.wrap(text, first=f"    {sheet.glyphs.bullet} ", rest="      ")
    return lines
