"""At which speed, time and temperature a centrifuge can serve which programs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isqrt

import msgspec

from cubital.model.centrifuge import Centrifuge, SpinProgram
from cubital.units import ceil_div

# The formula of chemistry.centrifuge in whole numbers, so that no limit is met or missed by a rounding:
# 1.118e-5 x r(cm) x rpm^2 = 1118 x r(mm) x rpm^2 / 10^9.
_FORCE, _FORCE_PER_G = 1118, 10**9

# What a tube asks of a rotor: one of these programs, and whether it holds a gel.
Need = tuple[tuple[str, ...], bool]


class Setting(msgspec.Struct, frozen=True, kw_only=True):
    """One way to run a centrifuge; `serves` are the needs that it meets. `temp_c` None is the room's."""

    rpm: int
    spin_s: int
    temp_c: int | None
    serves: frozenset[Need]


def force_reaches(rpm: int, rcf_g: int, radius_mm: int) -> bool:
    """Whether this speed brings at least this force to the bottom of the tube.

    >>> force_reaches(2896, 1500, 160), force_reaches(2895, 1500, 160)
    (True, False)
    """
    return _FORCE * radius_mm * rpm * rpm >= rcf_g * _FORCE_PER_G


def speeds_of(program: SpinProgram, centrifuge: Centrifuge) -> tuple[int, int] | None:
    """The lowest and highest speed step for this program; None where this rotor has none.

    A program of one single force is met by the first step that reaches it.
    """
    step = centrifuge.rpm_step
    slowest = ceil_div(_least_rpm(program.rcf_low_g, centrifuge.radius_mm), step) * step
    slowest = max(slowest, ceil_div(centrifuge.rpm_low, step) * step)
    over_g_rpm = _most_rpm(program.rcf_high_g, centrifuge.radius_mm)
    fastest = min(over_g_rpm, centrifuge.rpm_high) // step * step
    is_single = program.rcf_low_g == program.rcf_high_g
    if (
        is_single
        and slowest <= centrifuge.rpm_high
        and slowest - step < _least_rpm(program.rcf_low_g, centrifuge.radius_mm)
    ):
        return slowest, slowest
    return (slowest, fastest) if slowest <= fastest else None


def _least_rpm(rcf_g: int, radius_mm: int) -> int:
    """The least whole speed that reaches this force."""
    return isqrt(ceil_div(rcf_g * _FORCE_PER_G, _FORCE * radius_mm) - 1) + 1


def _most_rpm(rcf_g: int, radius_mm: int) -> int:
    """The greatest whole speed that does not pass this force."""
    return isqrt(rcf_g * _FORCE_PER_G // (_FORCE * radius_mm))


def times_of(program: SpinProgram, centrifuge: Centrifuge, *, gel: bool) -> tuple[int, int] | None:
    """The least and most seconds at speed on this rotor; None where nothing is known or allowed."""
    if gel and not centrifuge.takes_gel:
        return None
    if centrifuge.rotor == "swing-out":
        return program.low_s, program.high_s
    if program.fixed_angle_s is not None:
        return program.fixed_angle_s, max(program.fixed_angle_s, program.high_s)
    return None if gel else (program.low_s, program.high_s)


def temperatures_of(
    programs: Iterable[SpinProgram], centrifuge: Centrifuge, *, now_c: int | None
) -> tuple[int | None, ...]:
    """The temperatures worth setting: the least of each program, and the one it stands at.

    Programs that share a temperature at all share the highest of their least ones, so no other is needed.
    """
    if not centrifuge.is_refrigerated:
        return (None,)
    low_c, high_c = centrifuge.temp_low_c, centrifuge.temp_high_c
    least = {max(program.temp_low_c, low_c) for program in programs if program.temp_high_c >= low_c}
    if now_c is not None:
        least.add(now_c)
    return tuple(sorted(c for c in least if low_c <= c <= high_c))


def settings_of(
    centrifuge: Centrifuge, programs: Mapping[str, SpinProgram], needs: Iterable[Need], *, temp_c: int | None
) -> tuple[Setting, ...]:
    """Every setting at this temperature that no other one serves as much as in as little time.

    A run may hold exactly what its setting serves. Ranges of speed and of time that meet in pairs
    meet all together, at a least speed and a least time of one of them: no other setting is needed.
    """
    windows = {need: tuple(_windows(need, centrifuge, programs, temp_c)) for need in set(needs)}
    speeds = {window[0] for some in windows.values() for window in some}
    times = {window[2] for some in windows.values() for window in some}
    found = [
        Setting(rpm=rpm, spin_s=spin_s, temp_c=temp_c, serves=frozenset(_served(windows, rpm, spin_s)))
        for spin_s in sorted(times)
        for rpm in sorted(speeds)
    ]
    return _without_worse([setting for setting in found if setting.serves])


def _windows(
    need: Need, centrifuge: Centrifuge, programs: Mapping[str, SpinProgram], temp_c: int | None
) -> Iterable[tuple[int, int, int, int]]:
    keys, gel = need
    for key in keys:
        program = programs[key]
        if not _allows(program, centrifuge, temp_c):
            continue
        speeds, times = speeds_of(program, centrifuge), times_of(program, centrifuge, gel=gel)
        if speeds is not None and times is not None:
            yield (*speeds, *times)


def _allows(program: SpinProgram, centrifuge: Centrifuge, temp_c: int | None) -> bool:
    """Whether the program allows this temperature; a room's whole range must lie in the program's."""
    low_c, high_c = (centrifuge.temp_low_c, centrifuge.temp_high_c) if temp_c is None else (temp_c, temp_c)
    return program.temp_low_c <= low_c and high_c <= program.temp_high_c


def _served(windows: Mapping[Need, Sequence[tuple[int, int, int, int]]], rpm: int, spin_s: int) -> Iterable[Need]:
    for need, some in windows.items():
        if any(low <= rpm <= high and low_s <= spin_s <= high_s for low, high, low_s, high_s in some):
            yield need


def _without_worse(found: Sequence[Setting]) -> tuple[Setting, ...]:
    """The settings, without those that serve no more than another one in no less time."""
    kept: list[Setting] = []
    for setting in sorted(found, key=lambda s: (s.spin_s, -len(s.serves), s.rpm)):
        if not any(other.serves >= setting.serves for other in kept):
            kept.append(setting)
    return tuple(kept)
