"""The tubes of a draw in hand one by one: their places, the names of their specimens, and what became of each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from cubital.model import PlannedTube
from cubital.model.taking import SETTLING, Taking, Tap


class TubeStep(NamedTuple):
    """One tube of a draw in hand: its place among all, and the name of its specimen; None for a discard."""

    number: int
    tube: PlannedTube
    specimen: str | None


def steps_of(taking: Taking) -> tuple[TubeStep, ...]:
    """Every tube of the draw in order, discards and culture bottles too; a discard has no specimen."""
    return tuple(
        TubeStep(
            number=number, tube=tube,
            specimen=None if tube.purpose == "discard" else f"{prefix_of(taking, tube)}-{tube.position}",
        )
        for number, tube in enumerate(taking.plan.tubes, start=1)
    )  # fmt: skip


def settled(taps: Sequence[Tap], number: int) -> Tap | None:
    """The tap that settled this tube: filled, or not drawn; None while it is to come."""
    return next((tap for tap in taps if tap.kind in SETTLING and tap.step == number), None)


def is_labelled(taps: Sequence[Tap], number: int) -> bool:
    """Whether the label on this tube was scanned and is its own."""
    return any(tap.kind == "labelled" and tap.step == number for tap in taps)


def least_fill_ul(tube: PlannedTube) -> int | None:
    """The least blood that is accepted in this tube, rounded up; None where none is known."""
    percent = tube.fill_min_percent
    return None if percent is None else -(-tube.draw_ul * percent // 100)


def prefix_of(taking: Taking, tube: PlannedTube) -> str:
    """What the names of the specimens of this tube's draw begin with."""
    return taking.code if len(taking.plan.draws) == 1 else f"{taking.code}-{tube.draw}"
