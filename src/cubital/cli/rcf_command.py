"""`cubital rcf`: force, speed and radius of a centrifuge, and what is recommended for a tube."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, SOME_FAILED, complain, document, write_json

if TYPE_CHECKING:
    from cubital.app.spinning import Setting, Spinning
    from cubital.cli.sheet import Sheet


@click.command()
@click.option("--rpm", metavar="N", help="Turns a minute.")
@click.option("--g", "force", metavar="G", help="Force at the tube's bottom, in g.")
@click.option("--radius-cm", metavar="CM", help="Rotor's centre to the tube's bottom as it spins.")
@click.option("--most-rpm", metavar="N", help="What the rotor may turn.")
@click.option("--most-g", metavar="G", help="What the rotor or the tube may bear.")
@click.option("--for", "purpose", metavar="WORD", help="A tube kind, a family or a purpose: citrate, serum-gel.")
@wording.site_options
@wording.as_json
def rcf(site: Path | None, demo: bool, as_json: bool, purpose: str | None, **said: Any) -> int:
    """Compute force, speed or radius from the other two.

    With --for, the settings that sources recommend, and their speeds at a radius. Exit status 1 over the rotor's limit.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.spinning import spinning, spinning_document

        found = spinning(
            wording.open_chosen(site, demo=demo), purpose=purpose,
            g=wording.read_number(said["force"], where="--g"), rpm=wording.read_number(said["rpm"], where="--rpm"),
            radius_cm=wording.read_number(said["radius_cm"], where="--radius-cm"),
            most_rpm=wording.read_number(said["most_rpm"], where="--most-rpm"),
            most_g=wording.read_number(said["most_g"], where="--most-g"),
        )  # fmt: skip
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        write_json(spinning_document(found))
    else:
        from cubital.cli.sheet import sheet_for

        print(*_lines(found, sheet_for(sys.stdout)), sep="\n")
    return SOME_FAILED if found.over else 0


def _lines(found: Spinning, sheet: Sheet) -> list[str]:
    lines = []
    if found.g is not None and found.rpm is not None and found.radius_cm is not None:
        head = f"{found.g:.1f} g at {found.rpm:.0f} rpm and a radius of {found.radius_cm:.4g} cm"
        lines += [sheet.mark(head, "strong")]
    for text in found.over:
        lines += [sheet.mark(line, "stop") for line in sheet.wrap(text, first="  ", rest="    ")]
    if not found.settings and found.g is not None:
        lines += ["  within no recommended range of the shipped facts"]
    for setting in found.settings:
        lines += _setting_lines(setting, sheet)
    return lines


def _setting_lines(setting: Setting, sheet: Sheet) -> list[str]:
    low, high = setting.g
    words = f"{low} g" if low == high else f"{low}-{high} g"
    words += f", {setting.minutes} min" + (f", {setting.spins} spins" if setting.spins > 1 else "")
    if setting.fixed_angle_minutes is not None:
        words += f" ({setting.fixed_angle_minutes} min at a fixed angle)"
    cold, warm = setting.temperature_c
    words += f", {cold} C" if cold == warm else f", {cold}-{warm} C"
    if setting.rpm is not None:
        slow, fast = setting.rpm
        words += f"; {slow:.0f} rpm" if low == high else f"; {slow:.0f}-{fast:.0f} rpm"
    if setting.is_met is not None:
        words += "; this force is in the range" if setting.is_met else "; this force is OUTSIDE the range"
    lines = sheet.wrap(f"{setting.purpose}: {words}", first="  ", rest="    ")
    return lines + [sheet.mark(line, "faint") for line in sheet.wrap(f"[{'; '.join(setting.rests_on)}]", first="    ")]
