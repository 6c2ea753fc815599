"""A few centrifuges and tubes to speak about, all invented."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from cubital.model.centrifuge import Centrifuge, PlaceRow, SpinProgram, WaitingTube

MINUTE = 60


def program(
    purpose: str, low_g: int, high_g: int, minutes: int = 10, low_c: int = 20, high_c: int = 25, **more: Any
) -> SpinProgram:
    """One program whose time is exact unless `high_s` says otherwise."""
    values: dict[str, Any] = {"low_s": minutes * MINUTE, "high_s": minutes * MINUTE} | more
    return SpinProgram(
        purpose=purpose, rcf_low_g=low_g, rcf_high_g=high_g, temp_low_c=low_c, temp_high_c=high_c, **values
    )


PROGRAMS = {
    p.purpose: p
    for p in (
        program("serum", 1000, 1300),
        program("gel", 1000, 2000, high_s=900, fixed_angle_s=900),
        program("heparin", 1300, 2000, high_s=900),
        program("citrate", 1500, 1500, 15, 18, 25),
        program("cold", 1500, 2000, 10, 4, 4),
    )
}
# Four pairs of narrow places in one pair of buckets; two pairs of wide ones in the other.
SWING = Centrifuge(
    key="swing", rotor="swing-out", radius_mm=160, rpm_low=500, rpm_high=4000, rpm_step=10, ramp_s=60, reload_s=0,
    temp_low_c=20, temp_high_c=25, balance_mg=1000,
    places=(
        PlaceRow(pairs=4, low_um=12_000, high_um=13_500, buckets=("A", "C")),
        PlaceRow(pairs=2, low_um=12_000, high_um=16_500, buckets=("B", "D")),
    ),
)  # fmt: skip
ANGLE = Centrifuge(
    key="angle", rotor="fixed-angle", radius_mm=95, rpm_low=1000, rpm_high=6000, rpm_step=50, ramp_s=30, reload_s=30,
    temp_low_c=20, temp_high_c=25, balance_mg=500, places=(PlaceRow(pairs=3, low_um=12_000, high_um=16_500),),
)  # fmt: skip
COOLED = replace(SWING, key="cooled", is_refrigerated=True, temp_low_c=4, temp_high_c=40, temp_change_s=900)


def tube(name: str, *programs: str, **more: Any) -> WaitingTube:
    """A narrow tube that is ready and full, for these programs."""
    values: dict[str, Any] = {
        "type": f"{programs[0] if programs else 'whole blood'} 5 mL", "diameter_um": 13_000, "load_mg": 5300,
        "ready_s": 0,
    } | more  # fmt: skip
    return WaitingTube(id=name, programs=programs, **values)
