"""Labels at the patient: only of tubes that are filled, and only after the two-identifier check."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from zoneinfo import ZoneInfo

from cubital.app.printing import labels_at_chair
from cubital.app.taking import Takings
from cubital.app.taking_steps import settled, steps_of
from cubital.errors import TakingError
from cubital.model import Site
from cubital.model.identity import Collection


def print_filled(
    takings: Takings, site: Site, code: str, numbers: Sequence[int], *, stock: str, by: str, station: str, today: date
) -> bytes:
    """The PDF of the labels of these tubes of a draw, each with the time it was filled; the print is written down.

    Raises `TakingError` where a tube is not filled, or whose draw it is was not checked lately, at this device and by
    whoever asks; `PaperError` where a label cannot be printed so that it can be read.
    """
    taking, taps = takings.look(code)
    steps = {step.number: step for step in steps_of(taking)}
    identity = taking.identity
    if identity is None:
        raise TakingError("found no check of two identifiers; expected it before any label", where=code)
    filled = {}
    zone = ZoneInfo(site.time_zone)
    for number in dict.fromkeys(numbers):
        tap = settled(taps, number)
        step = steps.get(number)
        if step is None or step.specimen is None or tap is None or tap.kind != "filled":
            raise TakingError("found a tube that is not filled; expected a label after filling", where=f"tube {number}")
        takings.refuse_unchecked(code, step.tube.draw, by=by, station=station)
        filled[step.specimen] = tap.at.astimezone(zone).replace(tzinfo=None)
    if not filled:
        raise TakingError("found no tube; expected one that is filled", where=code)
    names = tuple(step.specimen for step in steps.values() if step.specimen is not None)
    collection = Collection(identity=identity, specimens=names, collector=by)
    pdf = labels_at_chair(
        taking.plan, taking.order, site, collection, filled=filled, stock=stock, today=today
    )  # fmt: skip
    takings.note_prints(code, tuple(dict.fromkeys(numbers)), by=by, station=station)
    return pdf
