"""The options that several commands share, and the order that they spell out."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from cubital.model import Order, Site

SiteFolder = Annotated[Path | None, typer.Option("--site", metavar="DIR", help="Folder of the site.")]
DemoSite = Annotated[bool, typer.Option("--demo", help="Use the demo site, an invented small hospital.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON, one document a line.")]
Age = Annotated[str | None, typer.Option(metavar="AGE", help='Age with a UCUM unit: "4 a", "7 mo", "10 d".')]
BirthDate = Annotated[str | None, typer.Option(metavar="DATE", help="Birth date, instead of an age.")]
Sex = Annotated[str | None, typer.Option(metavar="SEX", help="female or male.")]
WeightKg = Annotated[str | None, typer.Option(metavar="KG", help="Weight in kilograms.")]
HeightCm = Annotated[str | None, typer.Option(metavar="CM", help="Height in centimetres.")]
Hematocrit = Annotated[str | None, typer.Option(metavar="SHARE", help="Measured hematocrit as a share: 0.45.")]
DrawnMl = Annotated[str | None, typer.Option(metavar="ML", help="Blood already drawn in the period of the limit.")]
Flags = Annotated[
    list[str] | None, typer.Option("--flag", metavar="WORD", help="A flag such as anticoagulated; repeatable.")
]
Access = Annotated[
    str | None,
    typer.Option(metavar="WORD", help="straight-needle, winged-set, syringe, skin-puncture or line."),
]
Objective = Annotated[str | None, typer.Option(metavar="WORD", help="fewest-tubes or least-blood.")]
Stat = Annotated[bool, typer.Option("--stat", help="Every test of this order is stat.")]
DeadSpaceMl = Annotated[str | None, typer.Option(metavar="ML", help="Dead space of the line.")]
OnDay = Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day of the draw; else today.")]

_NUMBER = re.compile(r"[+-]?[0-9]{1,20}(\.[0-9]{1,20})?")
PROMPT = "command line"


def read_options(tests: list[str], options: dict[str, Any]) -> Order:
    """The order that these names and options spell out, checked as an order file is."""
    from cubital.app.wiring import order_of_words

    patient = {
        key: _value(options[key])
        for key in ("age", "birth_date", "sex", "weight_kg", "height_cm", "hematocrit", "drawn_ml")
        if options.get(key) is not None
    }
    if options.get("flags"):
        patient["flags"] = options["flags"]
    fields: dict[str, Any] = {"tests": tests, "patient": patient}
    fields |= {k: options[k] for k in ("access", "objective", "on") if options.get(k) is not None}
    if options.get("stat"):
        fields["priority"] = "stat"
    if options.get("dead_space_ml") is not None:
        fields["line"] = {"dead_space_ml": _value(options["dead_space_ml"])}
    return order_of_words(fields, where=PROMPT)


def _value(text: str) -> Any:
    """A number where the text is one, exactly; else the text, which the order's reader refuses by its place."""
    return Decimal(text) if _NUMBER.fullmatch(text) else text


def open_chosen(site: Path | None, *, demo: bool) -> Site:
    """The site that the options name; the shipped defaults where they name none."""
    from cubital.app.wiring import open_site
    from cubital.errors import SiteError

    if demo and site is not None:
        raise SiteError("found --demo beside it; expected one site; take one out", where="--site")
    return open_site(site, demo=demo)
