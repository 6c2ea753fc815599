"""`cubital explain`: why, and what each source says."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from cubital.cli import wording
from cubital.cli.complaint import REFUSED, complain, document, write_json

Names = Annotated[
    list[str],
    typer.Argument(
        metavar="NAMES",
        help="Tests as for plan; or a tube kind, an additive, an order of draw or a blood limit.",
    ),
]


def explain(
    names: Names,
    site: wording.SiteFolder = None,
    demo: wording.DemoSite = False,
    json: wording.AsJson = False,
    age: wording.Age = None,
    birth_date: wording.BirthDate = None,
    sex: wording.Sex = None,
    weight_kg: wording.WeightKg = None,
    height_cm: wording.HeightCm = None,
    hematocrit: wording.Hematocrit = None,
    drawn_ml: wording.DrawnMl = None,
    flag: wording.Flags = None,
    access: wording.Access = None,
    objective: wording.Objective = None,
    stat: wording.Stat = False,
    dead_space_ml: wording.DeadSpaceMl = None,
    on: wording.OnDay = None,
) -> int:
    """Say why: this tube, this size, this place, this mixing; and what each source holds.

    Every statement is followed by what it rests on: a standard or a publication and how it was
    seen (read, abstract, second-hand), memory, common practice, a computation, or the site itself.
    """
    from cubital.app.plan_explanation import explain_words
    from cubital.cli.explanation import draw_explanations
    from cubital.cli.sheet import sheet_for
    from cubital.errors import CubitalError

    said = {
        "age": age, "birth_date": birth_date, "sex": sex, "weight_kg": weight_kg, "height_cm": height_cm,
        "hematocrit": hematocrit, "drawn_ml": drawn_ml, "flags": flag, "access": access,
        "objective": objective, "stat": stat, "dead_space_ml": dead_space_ml, "on": on,
    }  # fmt: skip
    here = None
    try:
        here = wording.open_chosen(site, demo=demo)
        told = explain_words(wording.read_options(names, said), here)
    except CubitalError as error:
        complain(error, site=here)
        if json:
            write_json(document(error))
        return REFUSED
    if json:
        from cubital.app.explanation import explanation_document

        write_json(explanation_document(told))
    else:
        print(*draw_explanations(told, sheet_for(sys.stdout)), sep="\n")
    return 0
