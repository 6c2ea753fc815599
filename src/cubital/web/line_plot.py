"""A plot of lines as numbers for its drawing: a letter and a dash each, so that no colour tells them apart alone."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

WIDTH, HEIGHT = 720.0, 380.0
LEFT, RIGHT, TOP, BOTTOM = 62.0, 34.0, 14.0, 52.0
LETTERS = "ABCDEFGH"
_NEAREST = 17.0


class DrawnLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line: its letter, its name, its points, and where its letter stands at the end of it."""

    letter: str
    name: str
    points: str
    end_x: float
    end_y: float


class Tick(msgspec.Struct, frozen=True, kw_only=True):
    """One tick of an axis: where, and its word."""

    at: float
    word: str


class Mark(msgspec.Struct, frozen=True, kw_only=True):
    """A level or a moment that the lines are read against: where it stands, and its words."""

    at: float
    words: str


class LinePlot(msgspec.Struct, frozen=True, kw_only=True):
    """Everything to draw of one plot; `key` names its parts within the page."""

    key: str
    title: str
    x_words: str
    y_words: str
    lines: tuple[DrawnLine, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    levels: tuple[Mark, ...]
    moments: tuple[Mark, ...]


class Axes(msgspec.Struct, frozen=True, kw_only=True):
    """What a plot shows: its words and the bounds of both axes."""

    key: str
    title: str
    x_words: str
    y_words: str
    x: tuple[float, float]
    y: tuple[float, float]


def line_plot(
    axes: Axes,
    xs: Sequence[float],
    curves: Sequence[tuple[str, Sequence[float]]],
    *,
    levels: Sequence[tuple[float, str]] = (),
    moments: Sequence[tuple[float, str]] = (),
) -> LinePlot:
    """The plot of these curves over these xs; what lies outside of the axes is cut off at their edge."""

    def across(x: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (x - axes.x[0]) / (axes.x[1] - axes.x[0]), 1)

    def down(y: float) -> float:
        inside = min(max(y, axes.y[0]), axes.y[1])
        return round(HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (inside - axes.y[0]) / (axes.y[1] - axes.y[0]), 1)

    ends = _apart([down(ys[-1]) for _, ys in curves])
    return LinePlot(
        key=axes.key, title=axes.title, x_words=axes.x_words, y_words=axes.y_words,
        lines=tuple(
            DrawnLine(
                letter=LETTERS[n], name=name, end_x=WIDTH - RIGHT + 14, end_y=ends[n],
                points=" ".join(f"{across(x):g},{down(y):g}" for x, y in zip(xs, ys, strict=True)),
            )
            for n, (name, ys) in enumerate(curves)
        ),
        x_ticks=tuple(Tick(at=across(x), word=f"{x:g}") for x in ticks(*axes.x)),
        y_ticks=tuple(Tick(at=down(y), word=f"{y:g}") for y in ticks(*axes.y)),
        levels=tuple(Mark(at=down(y), words=words) for y, words in levels if axes.y[0] <= y <= axes.y[1]),
        moments=tuple(Mark(at=across(x), words=words) for x, words in moments if axes.x[0] <= x <= axes.x[1]),
    )  # fmt: skip


def ticks(least: float, most: float, *, about: int = 6) -> tuple[float, ...]:
    """Round numbers between two bounds, about so many.

    >>> ticks(0, 5000)
    (0.0, 1000.0, 2000.0, 3000.0, 4000.0, 5000.0)
    >>> ticks(-1.3, 1.3)
    (-1.0, -0.5, 0.0, 0.5, 1.0)
    """
    span = most - least
    power: float = 10.0 ** math.floor(math.log10(span / about))
    step = next(power * times for times in (1, 2, 5, 10) if span / (power * times) <= about)
    first = math.ceil(least / step - 1e-9)
    last = math.floor(most / step + 1e-9)
    return tuple(round(n * step, 10) for n in range(first, last + 1))


def _apart(wanted: Sequence[float]) -> list[float]:
    """The heights of the letters, moved so that none covers another."""
    found = list(wanted)
    least = TOP + 6
    for n in sorted(range(len(wanted)), key=lambda n: wanted[n]):
        found[n] = max(found[n], least)
        least = found[n] + _NEAREST
    return found
