"""Force, speed and radius of a centrifuge, and the settings that sources recommend."""

from __future__ import annotations

from typing import Any

import msgspec

from cubital import facts
from cubital.chemistry.centrifuge import force_g, radius_of_cm, speed_rpm
from cubital.errors import OrderError, UnitError
from cubital.model import Site

FORMAT = "cubital.rcf/1"
_LEAST_WORD = 3


class Setting(msgspec.Struct, frozen=True, kw_only=True):
    """One recommended setting, with its speeds at the radius asked; `is_met` where a force was asked."""

    purpose: str
    families: tuple[str, ...]
    gel: bool | None
    g: tuple[int, int]
    minutes: int
    fixed_angle_minutes: int | None
    spins: int
    temperature_c: tuple[int, int]
    rpm: tuple[float, float] | None
    is_met: bool | None
    rests_on: tuple[str, ...]


class Spinning(msgspec.Struct, frozen=True, kw_only=True):
    """The three of which two were given, what the rotor allows, and the settings asked for."""

    g: float | None
    rpm: float | None
    radius_cm: float | None
    over: tuple[str, ...]
    settings: tuple[Setting, ...]


def spinning(
    site: Site,
    *,
    g: float | None = None,
    rpm: float | None = None,
    radius_cm: float | None = None,
    most_rpm: float | None = None,
    most_g: float | None = None,
    purpose: str | None = None,
) -> Spinning:
    """The third of force, speed and radius, against the rotor's limits, and what is recommended for `purpose`.

    `purpose` is a tube kind of the site, a family of additives or part of a purpose's name. Raises `OrderError` where
    three of the three, or nothing, is asked, or nobody recommends anything for the purpose.

    >>> from cubital.app.wiring import open_site
    >>> round(spinning(open_site(), rpm=3000, radius_cm=16).g, 1)
    1609.9
    """
    given = [value is not None for value in (g, rpm, radius_cm)]
    if sum(given) == 3 or (sum(given) < 2 and purpose is None) or (sum(given) == 1 and radius_cm is None):
        raise OrderError(
            "expected two of force, speed and radius, or a radius with a purpose; a speed without a radius is no "
            "specification",
            where="command line",
        )
    if radius_cm is not None and rpm is not None:
        g = force_g(rpm=rpm, radius_cm=radius_cm)
    elif radius_cm is not None and g is not None:
        rpm = speed_rpm(g=g, radius_cm=radius_cm)
    elif g is not None and rpm is not None:
        radius_cm = radius_of_cm(g=g, rpm=rpm)
    chosen = facts.spins() if purpose is None else _chosen(purpose, site)
    return Spinning(
        g=g, rpm=rpm, radius_cm=radius_cm, over=_over(g, rpm, most_g, most_rpm),
        settings=tuple(_setting(spin, radius_cm, g) for spin in chosen if purpose is not None or _fits(spin, g)),
    )  # fmt: skip


def _over(g: float | None, rpm: float | None, most_g: float | None, most_rpm: float | None) -> tuple[str, ...]:
    over = []
    for value, most, unit in ((rpm, most_rpm, "rpm"), (g, most_g, "g")):
        if most is not None and most <= 0:
            raise UnitError(f"found {most:g} {unit}; expected a limit above 0", where="rotor")
        if value is not None and most is not None and value > most:
            over.append(f"{value:.0f} {unit} is over the rotor's {most:.0f} {unit}: it must not be run so")
    return tuple(over)


def _fits(spin: facts.Spin, g: float | None) -> bool:
    """Whether a force, to the whole g, is in the range: no speed gives one exactly."""
    return g is not None and spin.rcf_low_g <= round(g) <= spin.rcf_high_g


def _chosen(purpose: str, site: Site) -> tuple[facts.Spin, ...]:
    kind = site.kinds.get(purpose)
    word = purpose.strip().casefold()
    family = purpose if kind is None else facts.additives()[kind.additive].family
    found = tuple(
        spin
        for spin in facts.spins()
        if (family in spin.families and (kind is None or spin.gel in (None, kind.gel)))
        or (kind is None and len(word) >= _LEAST_WORD and word in spin.purpose.casefold())
    )
    if not found:
        known = "; ".join(spin.purpose for spin in facts.spins())
        raise OrderError(f"found {purpose[:40]!r}; expected a tube kind or one of: {known}", where="--for")
    return found


def _setting(spin: facts.Spin, radius_cm: float | None, g: float | None) -> Setting:
    rpm = None
    if radius_cm is not None:
        rpm = (speed_rpm(g=spin.rcf_low_g, radius_cm=radius_cm), speed_rpm(g=spin.rcf_high_g, radius_cm=radius_cm))
    return Setting(
        purpose=spin.purpose, families=tuple(spin.families), gel=spin.gel, g=(spin.rcf_low_g, spin.rcf_high_g),
        minutes=spin.minutes, fixed_angle_minutes=spin.fixed_angle_minutes, spins=spin.spins,
        temperature_c=(spin.temp_low_c, spin.temp_high_c), rpm=rpm, is_met=None if g is None else _fits(spin, g),
        rests_on=tuple(mark.label() + (f": {mark.note}" if mark.note else "") for mark in spin.marks),
    )  # fmt: skip


def spinning_document(found: Spinning) -> dict[str, Any]:
    """The answer as one JSON object."""
    return {"format": FORMAT, **msgspec.to_builtins(found)}
