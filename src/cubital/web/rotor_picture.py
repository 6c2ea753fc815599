"""A rotor from above as numbers for its drawing: every place, what stands in it, and the place opposite.

Nothing here decides anything. Opposite places lie point for point opposite each other about the axle, as in the rotor.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import msgspec

from cubital.handling.spin_balance import place_labels
from cubital.model.centrifuge import Centrifuge, Filled, SpinRun
from cubital.web.bench_rows import Cap

PLACE, STEP = 21.0, 60.0
RIM = 46.0
_MARGIN = 14.0
_LEAST_RING = 130.0


class Place(msgspec.Struct, frozen=True, kw_only=True):
    """One place: `what` is tube, blank or empty; `words` say all of it."""

    x: float
    y: float
    label: str
    what: str
    letters: str
    ink: str
    words: str


class Bucket(msgspec.Struct, frozen=True, kw_only=True):
    """One bucket as a rectangle, with its letter."""

    x: float
    y: float
    width: float
    height: float
    name: str


class RotorPicture(msgspec.Struct, frozen=True, kw_only=True):
    """A rotor in its square of `size`; `ties` join opposite places that balance each other."""

    size: float
    rim: float
    buckets: tuple[Bucket, ...]
    places: tuple[Place, ...]
    ties: tuple[tuple[float, float, float, float], ...]
    words: str


def rotor_picture(centrifuge: Centrifuge, run: SpinRun, caps: Mapping[str, Cap]) -> RotorPicture:
    """The drawing of one run; `caps` are the stoppers of its tubes."""
    spots, buckets, ring = _spots(centrifuge)
    filled = {one.place: one for one in run.filled}
    half = max(
        [ring + RIM if ring else 0.0, *(max(abs(x), abs(y)) + PLACE for x, y in spots.values()),
         *(max(abs(b.x), abs(b.y), abs(b.x + b.width), abs(b.y + b.height)) for b in buckets)]
    ) + _MARGIN  # fmt: skip
    places = tuple(_place(label, x + half, y + half, filled.get(label), caps) for label, (x, y) in spots.items())
    ties = tuple(
        (round(x1 + half, 1), round(y1 + half, 1), round(x2 + half, 1), round(y2 + half, 1))
        for one in run.filled
        if one.place < one.opposite
        for (x1, y1), (x2, y2) in ((spots[one.place], spots[one.opposite]),)
    )
    moved = tuple(msgspec.structs.replace(one, x=round(one.x + half, 1), y=round(one.y + half, 1)) for one in buckets)
    tubes = len(run.tubes)
    words = f"{centrifuge.key} from above: {tubes} tube{'' if tubes == 1 else 's'}, {run.blanks} blanks"
    return RotorPicture(
        size=round(2 * half, 1), rim=round(ring + RIM, 1) if ring else 0.0, buckets=moved, places=places, ties=ties,
        words=words,
    )  # fmt: skip


def _spots(centrifuge: Centrifuge) -> tuple[dict[str, tuple[float, float]], list[Bucket], float]:
    """Where each place lies about the axle, the buckets, and how far out the places of the rotor itself are."""
    rows = list(zip(place_labels(centrifuge), centrifuge.places, strict=True))
    around = [pair for labels, row in rows if row.buckets is None for pair in labels]
    spots: dict[str, tuple[float, float]] = {}
    ring = max(_LEAST_RING, len(around) * STEP / math.pi) if around else 0.0
    for number, (here, there) in enumerate(around):
        angle = math.pi * number / len(around) - math.pi / 2
        x, y = ring * math.cos(angle), ring * math.sin(angle)
        spots[here], spots[there] = (x, y), (-x, -y)
    held: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for labels, row in rows:
        if row.buckets is not None:
            held.setdefault(row.buckets, []).extend(labels)
    buckets: list[Bucket] = []
    widest = max((_grid(len(pairs)) for pairs in held.values()), default=(0, 0))
    out = ring + STEP * (max(widest) / 2 + 1.0) * max(1.0, len(held) / 2)
    for number, (names, pairs) in enumerate(held.items()):
        angle = math.pi * number / len(held) - math.pi / 2
        buckets += _bucket(names, pairs, (out * math.cos(angle), out * math.sin(angle)), spots)
    return spots, buckets, ring


def _bucket(
    names: tuple[str, str], pairs: list[tuple[str, str]], centre: tuple[float, float],
    spots: dict[str, tuple[float, float]],
) -> list[Bucket]:  # fmt: skip
    columns, lines = _grid(len(pairs))
    x, y = centre
    for place, (here, there) in enumerate(pairs):
        dx = (place % columns - (columns - 1) / 2) * STEP
        dy = (place // columns - (lines - 1) / 2) * STEP
        spots[here], spots[there] = (x + dx, y + dy), (-x - dx, -y - dy)
    width, height = columns * STEP + 6, lines * STEP + 26
    return [
        Bucket(x=cx - width / 2, y=cy - height / 2, width=width, height=height, name=name)
        for name, cx, cy in ((names[0], x, y), (names[1], -x, -y))
    ]


def _grid(count: int) -> tuple[int, int]:
    """Columns and lines for so many places.

    >>> _grid(4), _grid(7)
    ((2, 2), (3, 3))
    """
    columns = math.ceil(math.sqrt(count))
    return columns, math.ceil(count / columns)


def _place(label: str, x: float, y: float, filled: Filled | None, caps: Mapping[str, Cap]) -> Place:
    what, letters, ink, words = "empty", "", "", f"{label} empty"
    if filled is not None and filled.tube is not None:
        cap = caps[filled.tube]
        what, letters, ink, words = "tube", cap.mark, cap.ink, f"{label} {filled.tube}, {cap.words}"
    elif filled is not None:
        what, letters, words = "blank", "b", f"{label} blank like {filled.like}"
    return Place(x=round(x, 1), y=round(y, 1), label=label, what=what, letters=letters, ink=ink, words=words)
