"""What a tap may be: as a page tells it, judged by the draw and the taps before it; and the instant it gets."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import msgspec

from cubital.app.patient_check import Said
from cubital.app.taking_check import check_of, refuse_unchecked
from cubital.app.taking_steps import TubeStep, is_labelled, settled, steps_of
from cubital.errors import KeyReused, TakingError, TubeTaken, WrongPatient
from cubital.model.taking import WHYS, Taking, Tap, TapKind, WhyKey

CLOCKS_AGREE = timedelta(seconds=5)
"""Within this a tap keeps the instant of its device; beyond it takes the server's. A house rule without a source."""
SLACK = timedelta(seconds=60)
"""How much before the draw was begun, or after it was sent, a tap may seem to be; a house rule without a source."""


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """A tap as the page sends it: `device_at` when it was tapped and `device_now` when it was sent, by its clock."""

    key: str
    code: str
    kind: TapKind
    step: int
    device_at: datetime
    device_now: datetime
    by: str
    station: str
    why: str = ""
    scanned: str = ""
    said: Said | None = None


def instant_of(told: Told, taking: Taking, now: datetime) -> datetime:
    """When it was tapped: by the device's clock where that agrees with the server's, else as long ago as it says.

    Raises `TakingError` for what cannot be: sent before it was tapped, or tapped before the draw was begun.
    """
    ago = told.device_now - told.device_at
    if ago < -SLACK:
        raise TakingError("found a tap after the moment it was sent; expected it before; see this device's clock",
                          where="time")  # fmt: skip
    agrees = abs(told.device_now - now) <= CLOCKS_AGREE
    at = min(told.device_at if agrees else now - ago, now)
    if at < taking.made_at - SLACK:
        raise TakingError(
            "found a tap before the draw was begun; expected it after; see this device's clock", where="time"
        )
    return at


def tap_of(told: Told, taking: Taking, now: datetime) -> Tap:
    """The tap as it is kept; raises `TakingError` for what no page may send."""
    if told.kind == "printed":
        raise TakingError("found a print; expected a tap; ask for the label", where="tap")
    if told.said is not None and told.kind != "identified":
        raise TakingError("found identifiers with another tap; expected them with the check alone", where="tap")
    why: WhyKey | None = None
    if told.kind in ("not-drawn", "set-aside"):
        why = next((one for one in WHYS if one == told.why), None)
        if why is None:
            raise TakingError(f"found no reason; expected one of {', '.join(WHYS)}; choose one", where="why")
    return Tap(
        key=told.key, taking=taking.code, kind=told.kind, step=told.step, at=instant_of(told, taking, now),
        device_at=told.device_at, received_at=now, by=told.by, station=told.station, why=why,
    )  # fmt: skip


def refuse_tap(told: Told, taking: Taking, taps: Sequence[Tap], *, at: datetime, elsewhere: Sequence[Tap]) -> None:
    """Raise the error of a tap that cannot follow what was tapped before."""
    if taking.closed_at is not None:
        raise TakingError("found a draw that is closed; expected an open one; plan a new draw", where=taking.code)
    if told.kind == "identified":
        if told.said is None or told.step not in {
            check_of(taking.plan, draw.number) for draw in taking.plan.draws
        }:
            raise TakingError("found no identifiers for a draw of this plan; expected them", where=taking.code)
        return
    if told.kind in ("set-aside", "mismatched"):
        return
    steps = steps_of(taking)
    if told.kind == "finished":
        if left := [s.number for s in steps if not _is_done(s, taps)]:
            raise TakingError(f"found {len(left)} tubes to come or without their label; expected none", where="draw")
        return
    if not 1 <= told.step <= len(steps):
        raise TakingError(f"found tube {told.step}; expected 1 to {len(steps)}", where="tube")
    step = steps[told.step - 1]
    refuse_unchecked(taking, taps, step.tube.draw, by=told.by, station=told.station, at=at, elsewhere=elsewhere)
    if told.kind == "labelled":
        _refuse_label(told, step, taps)
    else:
        _refuse_settling(told, step, steps, taps)


def _refuse_settling(told: Told, step: TubeStep, steps: Sequence[TubeStep], taps: Sequence[Tap]) -> None:
    first = settled(taps, step.number)
    if first is not None:
        raise TubeTaken(
            f"{first.by} at {first.station} was first: {'filled' if first.kind == 'filled' else 'not drawn'} at "
            f"{first.at:%Y-%m-%d %H:%M:%S} UTC; nothing of this was recorded; do not label this tube",
            where=f"tube {step.number}", by=first.by, station=first.station, at=first.at,
        )  # fmt: skip
    if any(s.tube.draw == step.tube.draw and s.number < step.number and settled(taps, s.number) is None for s in steps):
        raise TakingError("found a tube before it that is not settled; expected them in order", where="tube")


def _refuse_label(told: Told, step: TubeStep, taps: Sequence[Tap]) -> None:
    found = settled(taps, step.number)
    if step.specimen is None or found is None or found.kind != "filled":
        raise TakingError("found a label on no filled tube; expected the tube to be filled first", where="label")
    if told.scanned.strip().upper() != step.specimen:
        raise WrongPatient(
            "found the label of another tube or patient; expected this tube's own; take it off and print the right one",
            where=f"tube {step.number}",
        )


def _is_done(step: TubeStep, taps: Sequence[Tap]) -> bool:
    found = settled(taps, step.number)
    if found is None:
        return False
    return found.kind == "not-drawn" or step.specimen is None or is_labelled(taps, step.number)


def refuse_other(told: Told, tap: Tap) -> None:
    """Raise `KeyReused` unless what was told is this tap again; `WrongPatient` where it was refused then."""
    if (told.kind, tap.kind) == ("identified", "mismatched"):
        raise WrongPatient(
            "found identifiers that were refused before; expected those of the request; do not draw: check again",
            where="two identifiers",
        )
    if (told.code, told.kind, told.step, told.by, told.station, told.device_at) != (
        tap.taking, tap.kind, tap.step, tap.by, tap.station, tap.device_at,
    ):  # fmt: skip
        raise KeyReused("found the key of another tap; expected a key for each", where="tap")
