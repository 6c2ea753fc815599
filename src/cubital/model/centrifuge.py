"""Centrifuges, the tubes that wait for them, and what a plan of their runs says.

Times are whole seconds from one instant that the caller keeps; speeds are turns a minute; forces
are multiples of g at the bottom of the tube; diameters are micrometres; masses are milligrams.
"""

from __future__ import annotations

from datetime import datetime
from typing import Literal

import msgspec

RotorKey = Literal["swing-out", "fixed-angle"]
MeasureKey = Literal["fill", "mass"]


class PlaceRow(msgspec.Struct, frozen=True, kw_only=True):
    """Places of one width that lie opposite each other, two by two.

    `buckets` names the two opposite buckets that hold them, None where the places lie in the rotor
    itself. A tube fits from `low_um` to `high_um` of its outer diameter.
    """

    pairs: int
    low_um: int
    high_um: int
    buckets: tuple[str, str] | None = None

    def __post_init__(self) -> None:
        if self.pairs < 1 or not 0 < self.low_um <= self.high_um:
            raise ValueError(f"found {self.pairs} pairs of {self.low_um} to {self.high_um} um; expected a rising range")
        if self.buckets is not None and self.buckets[0] == self.buckets[1]:
            raise ValueError(f"found bucket {self.buckets[0]!r} opposite itself; expected two buckets")


class Centrifuge(msgspec.Struct, frozen=True, kw_only=True):
    """One centrifuge with its rotor.

    `radius_mm` is the largest, to the bottom of a tube in the position in which it spins. A run lasts
    its time at speed and `ramp_s`, up and down together; `reload_s` passes before the next one.
    Where it is refrigerated it is set to a whole degree from `temp_low_c` to `temp_high_c` and takes
    `temp_change_s` to another; otherwise it may be anywhere in that range. Opposite tubes may differ
    by `balance_mg`.
    """

    key: str
    rotor: RotorKey
    radius_mm: int
    rpm_low: int
    rpm_high: int
    rpm_step: int
    ramp_s: int
    temp_low_c: int
    temp_high_c: int
    places: tuple[PlaceRow, ...]
    reload_s: int = 0
    is_refrigerated: bool = False
    temp_change_s: int = 0
    balance_mg: int = 1000
    takes_gel: bool = True

    def __post_init__(self) -> None:
        if not 0 < self.rpm_low <= self.rpm_high or self.rpm_step < 1 or self.radius_mm < 1:
            raise ValueError(f"{self.key}: expected a radius, a step and a rising range of speeds above 0")
        if self.temp_low_c > self.temp_high_c or not self.places:
            raise ValueError(f"{self.key}: expected a rising range of temperatures, and places")
        if min(self.ramp_s, self.reload_s, self.temp_change_s, self.balance_mg) < 0:
            raise ValueError(f"{self.key}: expected no time and no difference below 0")


class SpinProgram(msgspec.Struct, frozen=True, kw_only=True):
    """The force, the time at speed and the temperature that one purpose allows.

    `fixed_angle_s` is the least time in a fixed-angle rotor where that is known to differ; a gel tube
    goes into such a rotor only where it is known. `spins` is 2 where the plasma is spun again after
    it was moved to a new tube, which is another tube with its own clock.
    """

    purpose: str
    rcf_low_g: int
    rcf_high_g: int
    low_s: int
    high_s: int
    temp_low_c: int
    temp_high_c: int
    fixed_angle_s: int | None = None
    spins: int = 1

    def __post_init__(self) -> None:
        if not 0 < self.rcf_low_g <= self.rcf_high_g or not 0 < self.low_s <= self.high_s:
            raise ValueError(f"{self.purpose}: expected rising ranges of force and time above 0")
        if self.temp_low_c > self.temp_high_c:
            raise ValueError(f"{self.purpose}: expected a rising range of temperature")


class WaitingTube(msgspec.Struct, frozen=True, kw_only=True):
    """A tube that waits for its spin, which any one of `programs` serves.

    `type` is what balances what: kind and size, with one closure. `load_mg` is the mass of the whole
    tube (`measure` mass) or of its blood alone (fill). It may start from `ready_s`; its run should
    have ended at `due_s`, None where nothing is due. `was_spun` counts only for a gel tube.
    """

    id: str
    type: str
    diameter_um: int
    load_mg: int
    programs: tuple[str, ...]
    ready_s: int
    due_s: int | None = None
    gel: bool = False
    was_spun: bool = False
    measure: MeasureKey = "fill"


class RecordedTube(msgspec.Struct, frozen=True, kw_only=True):
    """What the record knows of a tube that waits for its spin; the width and the fill it does not.

    `purpose` None where no source says how to spin it; `due_at` None where nothing is due.
    """

    kind: str
    draw_ul: int
    purpose: str | None
    ready_at: datetime
    due_at: datetime | None
    was_spun: bool = False


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    """When a centrifuge is free, and the degree it is set to; None where it is not known."""

    free_s: int
    temp_c: int | None = None


class Filled(msgspec.Struct, frozen=True, kw_only=True):
    """What stands in one place: a tube by its id, or a blank made like the tube opposite."""

    place: str
    opposite: str
    tube: str | None
    like: str | None = None


class SpinRun(msgspec.Struct, frozen=True, kw_only=True):
    """One run: when, how, and what stands where. `temp_c` None is the room's."""

    centrifuge: str
    start_s: int
    end_s: int
    rpm: int
    spin_s: int
    temp_c: int | None
    filled: tuple[Filled, ...]

    @property
    def tubes(self) -> tuple[str, ...]:
        """The tubes in this run."""
        return tuple(f.tube for f in self.filled if f.tube is not None)

    @property
    def blanks(self) -> int:
        """How many blanks it needs."""
        return sum(f.tube is None for f in self.filled)


class SpinScore(msgspec.Struct, frozen=True, kw_only=True, order=True):
    """What a plan is judged by, in this order; each the fewer, the better."""

    missed: int
    late_s: int
    runs: int
    last_end_s: int


class LeftOut(msgspec.Struct, frozen=True, kw_only=True):
    """A tube that no run may take, and why."""

    tube: str
    reason: str


class SpinPlan(msgspec.Struct, frozen=True, kw_only=True):
    """Every run, in order of its start, and how far the plan is proved.

    No plan scores less than `bound`; where `score` equals it the plan is the optimum. `left_out`
    tubes are in no run and count nowhere.
    """

    runs: tuple[SpinRun, ...]
    score: SpinScore
    bound: SpinScore
    left_out: tuple[LeftOut, ...] = ()
    missed: tuple[str, ...] = ()
    steps: int = 0

    @property
    def is_optimal(self) -> bool:
        """Whether it is proved that no plan scores less."""
        return self.score == self.bound
