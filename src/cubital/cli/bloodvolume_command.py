"""`cubital bloodvolume`: how much blood there is, how much may be taken, and what was taken."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, SOME_FAILED, complain, document, write_json

if TYPE_CHECKING:
    from pathlib import Path

    from cubital.app.blood_loss import BloodReport, CapLine, DrawnBlood
    from cubital.cli.sheet import Sheet
    from cubital.model import Patient, Site


@click.command()
@click.option("--age", metavar="AGE", help='Age with a UCUM unit: "4 a", "7 mo", "10 d".')
@click.option("--sex", metavar="SEX", help="female or male.")
@click.option("--weight-kg", metavar="KG", help="Weight in kilograms.")
@click.option("--height-cm", metavar="CM", help="Height in centimetres.")
@click.option("--hematocrit", metavar="SHARE", help="Measured hematocrit as a share: 0.45; for --lowest-hematocrit.")
@click.option(
    "--lowest-hematocrit", metavar="SHARE", help="The lowest that is borne: how much may be lost until it is reached."
)
@click.option("--flag", "flags", metavar="WORD", multiple=True, help="preterm, for a preterm newborn; repeatable.")
@click.option("--limit", metavar="WORD", help="One policy; else all.")
@click.option("--draws", metavar="FILE", help="Draws of an inpatient in JSON; - is what comes in.")
@click.option("--patient", metavar="KEY", help="The site's own key of the patient: the draws are those on record.")
@wording.record_option
@wording.site_options
@wording.as_json
def bloodvolume(
    site: Path | None, demo: bool, as_json: bool, limit: str | None, draws: str | None, lowest_hematocrit: str | None,
    patient: str | None, address: str, **said: Any,
) -> int:  # fmt: skip
    """Compute a patient's blood volume, what published limits allow, and what draws added up to.

    With --lowest-hematocrit also the loss of blood that brings the measured hematocrit down to it.

    Exit status 1 where a draw passed the limit that --limit names.
    """
    from cubital.errors import CubitalError

    try:
        from cubital.app.blood_loss import blood_document, blood_report
        from cubital.app.wiring import read_bytes, read_drawn
        from cubital.units import exact

        _refuse_hematocrit_alone(said["hematocrit"], lowest_hematocrit)
        here = wording.open_chosen(site, demo=demo)
        whose = _patient(said)
        drawn: tuple[DrawnBlood, ...] = () if patient is None else _on_record(patient, draws, here, address)
        unread: tuple[str, ...] = ()
        if draws is not None:
            patient_in_file, drawn, unread = read_drawn(read_bytes(draws, stdin=sys.stdin.buffer), where=draws)
            whose = _one(whose, patient_in_file)
        lowest = None if lowest_hematocrit is None else exact(lowest_hematocrit, where="--lowest-hematocrit")
        found = blood_report(whose, here, draws=drawn, limit=limit, lowest_hematocrit=lowest)
    except CubitalError as error:
        complain(error)
        if as_json:
            write_json(document(error))
        return REFUSED
    if as_json:
        write_json({**blood_document(found), "unread": list(unread)})
    else:
        from cubital.cli.sheet import sheet_for

        print(*_lines(found, unread, sheet_for(sys.stdout)), sep="\n")
    return SOME_FAILED if limit is not None and any(cap.is_over for cap in found.caps) else 0


def _on_record(patient: str, file: str | None, site: Site, address: str) -> tuple[DrawnBlood, ...]:
    """The draws of this patient that the record holds; both a record and a file are refused."""
    from cubital.app.drawn_before import drawn_blood, specimens_on_record
    from cubital.app.wiring import open_record
    from cubital.errors import OrderError

    if file is not None:
        raise OrderError("found --draws beside it; expected one of the two; take one out", where="--patient")
    record = open_record(address)
    try:
        return drawn_blood(specimens_on_record(record, patient), site)
    finally:
        record.close()


def _patient(said: dict[str, Any]) -> Patient:
    from cubital.app.wiring import patient_of_words

    keys = ("age", "sex", "weight_kg", "height_cm", "hematocrit")
    fields = {key: wording.value_of(said[key]) for key in keys if said[key]}
    if said["flags"]:
        fields["flags"] = list(said["flags"])
    return patient_of_words(fields, where=wording.PROMPT)


def _refuse_hematocrit_alone(measured: str | None, lowest: str | None) -> None:
    from cubital.errors import OrderError

    if measured is not None and lowest is None:
        raise OrderError("found it alone; nothing is reckoned from it; add --lowest-hematocrit", where="--hematocrit")


def _one(at_prompt: Patient, in_file: Patient) -> Patient:
    """The patient of the prompt or of the file; both at once are refused."""
    from cubital.errors import OrderError
    from cubital.model import Patient

    if at_prompt != Patient() and in_file != Patient():
        raise OrderError("found one at the prompt and one in the file; expected one; take one out", where="patient")
    return in_file if at_prompt == Patient() else at_prompt


def _lines(found: BloodReport, unread: tuple[str, ...], sheet: Sheet) -> list[str]:
    guard = "not known" if found.guard_ul is None else f"{found.guard_ul / 1000:.0f} mL, the lowest of the sources"
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(f"Blood volume: {guard}")]
    for row in found.volumes:
        span = f"{row.low_ul / 1000:.0f}" + ("" if row.low_ul == row.high_ul else f"-{row.high_ul / 1000:.0f}")
        lines += sheet.wrap(f"{span} mL: {row.source} [{row.rests_on}]", first="  ", rest="    ")
    for note in (*found.notes, *(f"nothing reads {path} of the file" for path in unread)):
        lines += sheet.wrap(note, first="  ", rest="    ")
    lines += ["", sheet.mark("What may be taken", "strong")]
    for cap in found.caps:
        lines += sheet.wrap(_cap_words(cap), first="  ", rest="    ")
    return lines + _allowable_lines(found, sheet) + _loss_lines(found, sheet)


def _cap_words(cap: CapLine) -> str:
    period = f"{cap.period_h} h" if cap.period_h < 72 else f"{cap.period_h // 24} d"
    allowed = "not known" if cap.allowed_ul is None else f"{cap.allowed_ul / 1000:.1f} mL"
    words = f"{cap.policy}: {allowed} in {period} ({cap.for_whom})"
    if cap.heaviest_ul is None or cap.from_ is None or cap.to is None:
        return words
    verdict = "" if cap.is_over is None else "; PASSED" if cap.is_over else "; kept"
    span = f"{cap.from_:%Y-%m-%d %H:%M} to {cap.to:%Y-%m-%d %H:%M}"
    return f"{words}: heaviest {cap.heaviest_ul / 1000:.1f} mL, {span}{verdict}"


def _allowable_lines(found: BloodReport, sheet: Sheet) -> list[str]:
    from cubital.app.blood_loss import LOSS_CAUTION

    if not found.losses:
        return []
    lines = ["", sheet.mark("Lost until the hematocrit is down to the lowest", "strong")]
    for row in found.losses:
        text = f"{row.volume_ul / 1000:.0f} mL: {row.formula} [{row.rests_on}]"
        lines += sheet.wrap(text, first="  ", rest="    ")
    return [*lines, *sheet.wrap(LOSS_CAUTION, first="  ", rest="    ")]


def _loss_lines(found: BloodReport, sheet: Sheet) -> list[str]:
    from cubital import facts
    from cubital.app.blood_loss import SAVED_CAUTION

    if not found.days:
        return []
    share = "" if found.percent_of_guard is None else f", {found.percent_of_guard:.1f} % of the blood volume"
    lines = ["", sheet.mark(f"Drawn in all: {found.total_ul / 1000:.1f} mL{share}", "strong")]
    lines += [f"  {day}  {volume_ul / 1000:6.1f} mL" for day, volume_ul in found.days]
    if not found.savings:
        return lines
    saved_ul = sum(row.volume_ul - row.smaller_ul for row in found.savings)
    looked_at_ul = sum(row.volume_ul for row in found.savings)
    head = f"Smaller tubes would have saved {saved_ul / 1000:.1f} of {looked_at_ul / 1000:.1f} mL"
    lines += ["", sheet.mark(head, "strong")]
    for how in dict.fromkeys(row.how for row in found.savings):
        number = sum(row.how == how for row in found.savings)
        lines += sheet.wrap(f"{number} draw{'' if number == 1 else 's'}: {how}", first="  ", rest="    ")
    for evidence in facts.blood_loss():
        lines += sheet.wrap(f"{evidence.text} [{evidence.mark.label()}]", first="  ", rest="    ")
    return [*lines, *sheet.wrap(SAVED_CAUTION, first="  ", rest="    ")]
