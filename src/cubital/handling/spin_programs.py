"""The centrifuge programs of the shipped facts, and which of them a tube may have."""

from __future__ import annotations

from functools import cache

from cubital import facts
from cubital.model.centrifuge import SpinProgram


@cache
def spin_programs() -> dict[str, SpinProgram]:
    """Every program of the facts by its purpose.

    Where no source allows more than its minutes, a program lasts just so long.

    >>> spin_programs()["heparin plasma"].high_s
    900
    """
    return {spin.purpose: _program(spin) for spin in facts.spins()}


def _program(spin: facts.Spin) -> SpinProgram:
    return SpinProgram(
        purpose=spin.purpose,
        rcf_low_g=spin.rcf_low_g,
        rcf_high_g=spin.rcf_high_g,
        low_s=60 * spin.minutes,
        high_s=60 * (spin.minutes_high or spin.minutes),
        temp_low_c=spin.temp_low_c,
        temp_high_c=spin.temp_high_c,
        fixed_angle_s=None if spin.fixed_angle_minutes is None else 60 * spin.fixed_angle_minutes,
        spins=spin.spins,
    )


def purposes_for(additive: str, *, gel: bool) -> tuple[str, ...]:
    """The purposes that the facts know for a tube with this additive, with a gel or without.

    >>> purposes_for("thrombin", gel=False)
    ('serum',)
    """
    family = facts.additives()[additive].family
    return tuple(spin.purpose for spin in facts.spins() if family in spin.families and spin.gel in (None, gel))
