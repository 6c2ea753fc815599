"""`cubital citrate`: how much citrate a high hematocrit leaves in the tube."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json

if TYPE_CHECKING:
    from cubital.app.citrate_adjustment import CitrateAdvice
    from cubital.cli.sheet import Sheet


@click.command()
@click.option("--hematocrit", metavar="SHARE", required=True, help="Measured hematocrit as a share: 0.60.")
@click.option("--blood-ml", metavar="ML", required=True, help="Blood that the tube draws, without its citrate.")
@click.option("--citrate-ml", metavar="ML", help="Solution in the tube; else a ninth of the blood.")
@wording.as_json
def citrate(hematocrit: str, blood_ml: str, citrate_ml: str | None, as_json: bool) -> int:
    """Compute the citrate of a high hematocrit by both published formulas.

    Says what the V of each means, what to take out of the tube, to where each fills it, and what comes of mixing
    them up.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.citrate_adjustment import citrate_advice, citrate_document
        from cubital.units import exact, microlitres

        found = citrate_advice(
            exact(hematocrit, where="--hematocrit"), microlitres(blood_ml, where="--blood-ml"),
            tube_citrate_ul=None if citrate_ml is None else 1000 * exact(citrate_ml, where="--citrate-ml"),
        )  # fmt: skip
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        write_json(citrate_document(found))
    else:
        from cubital.cli.sheet import sheet_for

        print(*_lines(found, sheet_for(sys.stdout)), sep="\n")
    return 0


def _lines(found: CitrateAdvice, sheet: Sheet) -> list[str]:
    share = float(found.hematocrit)
    head = (
        f"Hematocrit {share:g}, {found.blood_ul / 1000:g} mL of blood on {float(found.tube_citrate_ul) / 1000:.3g} mL"
    )
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(head)]
    if found.remove_ul is not None:
        text = f"take out {float(found.remove_ul) / 1000:.3f} mL of citrate before the blood goes in"
        lines += [sheet.mark(f"  {text}", "warn")]
    words = f"left alone, its plasma would hold {float(found.plasma_citrate_mmol_per_l):.1f} mmol/L of citrate"
    lines += sheet.wrap(words, first="  ", rest="    ")
    lines += ["", f"  {'formula':<31} {'citrate, mL':>12} {'take out, mL':>13} {'fill to, mL':>12}  right at"]
    for row in found.formulas:
        trap = "  TRAP" if row.is_trap else ""
        lines.append(
            f"  {row.formula:<31} {float(row.citrate_ul) / 1000:>12.3f} {float(row.remove_ul) / 1000:>13.3f} "
            f"{float(row.filled_ul) / 1000:>12.3f}  {float(row.reference):g}{trap}"
        )
        lines += sheet.wrap(f"V is {row.v_means}", first="      ")
    lines.append("")
    for text in found.words:
        lines += sheet.wrap(text, first="  ", rest="    ")
    return lines + [sheet.mark(line, "faint") for line in sheet.wrap(f"[{'; '.join(found.rests_on)}]", first="  ")]
