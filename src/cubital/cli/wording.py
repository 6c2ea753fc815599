"""The options that several commands share, and the order that they spell out."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from datetime import date

    from cubital.model import Order, Site

_Command = TypeVar("_Command", bound=Callable[..., Any])

as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON, one document a line.")
record_option = click.option(
    "--db",
    "address",
    metavar="DB",
    envvar="CUBITAL_DB",
    default="cubital.db",
    show_default=True,
    help="The record: a SQLite file, or postgresql://USER@HOST/DATABASE; else what CUBITAL_DB says.",
)
_SITE = (
    click.option("--site", metavar="DIR", type=click.Path(path_type=Path), help="Folder of the site."),
    click.option("--demo", is_flag=True, help="Use the demo site, an invented small hospital."),
)
_PATIENT = (
    click.option("--age", metavar="AGE", help='Age with a UCUM unit: "4 a", "7 mo", "10 d".'),
    click.option("--birth-date", metavar="DATE", help="Birth date, instead of an age."),
    click.option("--sex", metavar="SEX", help="female or male."),
    click.option("--weight-kg", metavar="KG", help="Weight in kilograms."),
    click.option("--height-cm", metavar="CM", help="Height in centimetres."),
    click.option("--hematocrit", metavar="SHARE", help="Measured hematocrit as a share: 0.45."),
    click.option("--drawn-ml", metavar="ML", help="Blood already drawn in the period of the limit."),
    click.option("--flag", "flags", metavar="WORD", multiple=True, help="Such as anticoagulated; repeatable."),
    click.option("--access", metavar="WORD", help="straight-needle, winged-set, syringe, skin-puncture or line."),
    click.option("--dead-space-ml", metavar="ML", help="Dead space of the line."),
    click.option("--line-infection", is_flag=True, help="The line itself is cultured: its first blood is kept."),
    click.option("--objective", metavar="WORD", help="by-patient, liked-kinds, fewest-tubes or least-blood."),
    click.option("--now", metavar="TIME", help="When the plan is for: 07:40 on the day of the draw, or an instant."),
    click.option(
        "--event", "events", metavar="WORDS", multiple=True,
        help='What fixes a moment, and when: "infusion-end vancomycin 09:30"; repeatable.',
    ),
    click.option("--keep", metavar="TEST", multiple=True, help="A test to be left out last; repeatable."),
    click.option("--place", metavar="NAME", help="Place of collection, of the site's times of travel."),
    click.option("--stat", is_flag=True, help="Every test of this order is stat."),
)
on_day = click.option("--on", metavar="DATE", help="Day of the draw, such as 2026-11-25; else today.")


def site_options(command: _Command) -> _Command:
    """The options that choose a site: `site` and `demo`."""
    return _with(_SITE, command)


def patient_options(command: _Command) -> _Command:
    """The options that spell out an order beside its tests."""
    return _with(_PATIENT, command)


def _with(options: tuple[Callable[[Any], Any], ...], command: _Command) -> _Command:
    for option in reversed(options):
        command = option(command)
    return command


_NUMBER = re.compile(r"[+-]?[0-9]{1,20}(\.[0-9]{1,20})?")
PROMPT = "command line"


def read_options(
    tests: Sequence[str], options: Mapping[str, Any], *, today: date | None = None, zone: str | None = None
) -> Order:
    """The order that these names and options spell out, checked as an order file is; without a day, for `today`.

    Times are read in `zone`, the time zone of the site.
    """
    from cubital.app.wiring import order_of_words

    patient = {
        key: value_of(options[key])
        for key in ("age", "birth_date", "sex", "weight_kg", "height_cm", "hematocrit", "drawn_ml")
        if options.get(key) is not None
    }
    if options.get("flags"):
        patient["flags"] = list(options["flags"])
    fields: dict[str, Any] = {"tests": list(tests), "patient": patient}
    fields |= {k: options[k] for k in ("access", "objective", "on", "now", "place") if options.get(k) is not None}
    if options.get("keep"):
        fields["keep"] = list(options["keep"])
    if options.get("events"):
        fields["events"] = [_event_of(words) for words in options["events"]]
    if options.get("stat"):
        fields["priority"] = "stat"
    line: dict[str, Any] = {}
    if options.get("dead_space_ml") is not None:
        line["dead_space_ml"] = value_of(options["dead_space_ml"])
    if options.get("line_infection"):
        line["suspected_infection"] = True
    if line:
        fields["line"] = line
    return order_of_words(fields, where=PROMPT, today=today, zone=zone)


_EVENT = re.compile(r"(\S+)(?:\s+(.*?))?\s+((?:\d{4}-\d{2}-\d{2}[T ])?\d{1,2}:\d{2}\S*)")


def _event_of(words: str) -> dict[str, str]:
    """What happened, of what, and when, of words such as "infusion-end vancomycin 09:30"."""
    from cubital.errors import OrderError

    found = _EVENT.fullmatch(words.strip())
    if found is None:
        raise OrderError(
            f"found {words[:60]!r}; expected what happened, of what, and when, such as "
            '"infusion-end vancomycin 09:30" or "drink 2026-11-25T08:05"; correct it',
            where="--event",
        )
    of = {} if not found[2] else {"of": found[2]}
    return {"what": found[1], **of, "at": found[3]}


def value_of(text: str) -> Any:
    """A number where the text is one, exactly; else the text, which the order's reader refuses by its place."""
    return Decimal(text) if _NUMBER.fullmatch(text) else text


def need_number(text: str, *, where: str) -> float:
    """The number of an option; anything else, units beside it too, is refused by the option's name."""
    from cubital.units import exact

    return float(exact(text, where=where))


def read_number(text: str | None, *, where: str) -> float | None:
    """The number of an option that may be left out."""
    return None if text is None else need_number(text, where=where)


def number_within(
    text: str | None, least: float, most: float, *, where: str, unit: str, times: float = 1
) -> float | None:
    """The number of an option between two bounds, multiplied; None where it is left out."""
    from cubital.errors import UnitError

    number = read_number(text, where=where)
    if number is None:
        return None
    if not least <= number <= most:
        raise UnitError(f"found {number:g}; expected {least:g} to {most:g} {unit}", where=where)
    return number * times


def open_chosen(site: Path | None, *, demo: bool) -> Site:
    """The site that the options name; the shipped defaults where they name none."""
    from cubital.app.wiring import open_site
    from cubital.errors import SiteError

    if demo and site is not None:
        raise SiteError("found --demo beside it; expected one site; take one out", where="--site")
    return open_site(site, demo=demo)
