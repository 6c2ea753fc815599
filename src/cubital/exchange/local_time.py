"""Local time outside, instants in UTC inside: right on the two days a year when the clocks are changed.

A zone is a name of the IANA time zone database, as `zoneinfo` reads it (RFC 6557). In the hour that the
clocks show twice, a local time without its offset from UTC is two instants and is refused; in the
hour that they skip it is none.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from cubital.errors import LocalTimeError

_WRITTEN = re.compile(r"(\d{4}-\d{2}-\d{2})[T ](\d{2}:\d{2}(?::\d{2})?)\s?(Z|[+-]\d{2}:\d{2})?", re.ASCII)
_EXPECTED = "a local time such as 2026-10-25 04:30, or with its offset from UTC 2026-10-25 02:30+01:00"


def is_zone(name: str) -> bool:
    """Whether this is a time zone that this machine knows.

    >>> is_zone("UTC"), is_zone("Mars/Olympus")
    (True, False)
    """
    try:
        return ZoneInfo(name).key == name
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False


def read_local(text: str, zone: str, *, where: str) -> datetime:
    """The instant, in UTC, that the clocks of this zone showed so.

    Raises `LocalTimeError` for what is no local time, for one that the clocks skipped, and for one
    that they showed twice unless its offset is written behind it. An offset that another zone has
    at that moment is taken as it stands.

    >>> read_local("2026-07-01 08:30", "Europe/Berlin", where="at").isoformat()
    '2026-07-01T06:30:00+00:00'
    """
    found = _WRITTEN.fullmatch(text.strip())
    try:
        wall = datetime.fromisoformat(f"{found[1]}T{found[2]}") if found else None
    except ValueError:
        wall = None
    if found is None or wall is None:
        raise LocalTimeError(f"found {text[:40]!r}; expected {_EXPECTED}", where=where)
    try:
        if found[3] is not None:
            return _with_offset(wall, found[3]).astimezone(UTC)
        return _settled(wall, zone, where=where)
    except (OverflowError, ValueError) as error:
        if isinstance(error, LocalTimeError):
            raise
        raise LocalTimeError(f"found {text[:40]!r}; expected a time in this age of the world", where=where) from None


def say_local(moment: datetime, zone: str) -> str:
    """The instant as the clocks of this zone show it, to the second, with its offset where they show it twice.

    >>> say_local(datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "Europe/Berlin")
    '2026-10-25 02:30:00+01:00'
    """
    local = moment.astimezone(_zone(zone, where="time_zone")).replace(microsecond=0)
    wall = local.replace(tzinfo=None)
    is_twice = len(_instants(wall, zone)) > 1
    return local.isoformat(sep=" ") if is_twice else wall.isoformat(sep=" ")


def _settled(wall: datetime, zone: str, *, where: str) -> datetime:
    instants = _instants(wall, zone, where=where)
    if len(instants) == 1:
        return instants[0]
    if not instants:
        raise LocalTimeError(
            f"found {wall.isoformat(sep=' ')}, which the clocks of {zone} skipped; expected a time that they showed",
            where=where,
        )
    local = _zone(zone, where=where)
    choices = " or ".join(one.astimezone(local).isoformat(sep=" ") for one in instants)
    raise LocalTimeError(
        f"found {wall.isoformat(sep=' ')}, which the clocks of {zone} showed twice; expected {choices}", where=where
    )


def _instants(wall: datetime, zone: str, *, where: str = "time_zone") -> list[datetime]:
    """The instants at which the clocks of the zone showed this: none, one or two, in order."""
    local = _zone(zone, where=where)
    both = {wall.replace(tzinfo=local, fold=fold).astimezone(UTC) for fold in (0, 1)}
    return sorted(one for one in both if one.astimezone(local).replace(tzinfo=None) == wall)


def _with_offset(wall: datetime, offset: str) -> datetime:
    if offset == "Z":
        return wall.replace(tzinfo=UTC)
    hours, minutes = int(offset[1:3]), int(offset[4:6])
    if minutes > 59 or hours > 14:
        raise LocalTimeError(f"found the offset {offset}; expected one from -14:00 to +14:00", where="offset")
    behind = timedelta(hours=hours, minutes=minutes)
    return wall.replace(tzinfo=timezone(-behind if offset[0] == "-" else behind))


def _zone(name: str, *, where: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise LocalTimeError(
            f"found the time zone {name[:60]!r}; expected one of this machine, such as Europe/Berlin", where=where
        ) from None
