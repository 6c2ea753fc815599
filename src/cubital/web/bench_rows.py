"""The board as rows for its drawing: words of what is due, and each window as lengths on one common strip of time.

Nothing here decides anything: what is late, due or lost is the board's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import timedelta
from itertools import groupby

import msgspec

from cubital.app.bench_board import BoardView
from cubital.app.explanation import Statement, of_reason
from cubital.app.live_board import Look
from cubital.handling.board import Line
from cubital.handling.rescue import Prospect, Rescue
from cubital.model import Site
from cubital.model.specimen import Specimen
from cubital.paper.ink import figure_of
from cubital.web.bench_times import Times
from cubital.web.tube_picture import hex_of

BEFORE_MIN, AFTER_MIN = 60, 240
"""The strip shows so long before now and so long after it."""
SOON_MIN = 15
"""What must begin within so long is called soon; a house rule without a source."""
HOURS = tuple((f"+{hour} h", round(100 * (BEFORE_MIN + 60 * hour) / (BEFORE_MIN + AFTER_MIN), 2)) for hour in (1, 2, 3))
NOW_AT = round(100 * BEFORE_MIN / (BEFORE_MIN + AFTER_MIN), 2)
MOST_NAMES, MOST_LOST = 5, 30
_WORDS = {"late": "Late", "soon": "Soon", "due": "Due", "waiting": "Not yet", "unknown": "No time known"}
_SIGNS = {"late": "■", "soon": "▲", "due": "●", "waiting": "○", "unknown": "?"}
WORDS_OF = _WORDS | {"lost": "Lost"}
_WAYS = {
    "test": "measure it as it is", "separate": "take it off the cells", "pour": "pour it off the gel",
    "cold": "put it in the cold",
    "freeze": "freeze it",
}  # fmt: skip


class Cap(msgspec.Struct, frozen=True, kw_only=True):
    """The stopper of a specimen's tube: its letters, its colour and its figure."""

    mark: str
    ink: str
    figure: str
    words: str


class Strip(msgspec.Struct, frozen=True, kw_only=True):
    """A window in hundredths of the strip: open from `x`, to begin by `begin_x`, over by `end_x`.

    `late` is how much of it has gone by since it should have begun; `is_past_end` that it goes on beyond the strip.
    """

    x: float
    begin_x: float
    end_x: float
    late: float
    is_past_end: bool
    words: str


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the board in words; `strip` None where no source gives a time."""

    id: str
    kind: str
    urgency: str
    sign: str
    word: str
    left: str
    by: str
    do: str
    place: str
    tests: str
    all_tests: tuple[str, ...]
    is_cut: bool
    lost: str
    cap: Cap
    cap_key: str
    strip: Strip | None
    saves: tuple[str, ...]
    unknown: tuple[str, ...]
    reasons: tuple[Statement, ...]


class Rows(msgspec.Struct, frozen=True, kw_only=True):
    """The board as it is drawn: counts, rows most urgent first, what is lost, and how many are not shown."""

    at: str
    policy: str
    counts: tuple[tuple[str, str, str, int], ...]
    rows: tuple[Row, ...]
    caps: tuple[tuple[str, Cap], ...]
    lost: tuple[tuple[str, str], ...]
    more: int
    more_lost: int
    total: int


def rows_of(look: Look, site: Site) -> Rows:
    """Everything that the page shows of one look."""
    view = look.view
    page = view.page
    times = Times(site, page.at)
    rows = tuple(_row(line, look.specimens[line.specimen], view, times) for line in page.lines)
    lost = tuple((id, names_of(tests, site)) for id, tests in page.lost[:MOST_LOST])
    total = page.late + page.due + page.waiting + page.unknown
    counts = (("late", page.late), ("due", page.due), ("waiting", page.waiting), ("unknown", page.unknown))
    return Rows(
        at=times.whole(page.at), policy=view.policy,
        counts=(
            *((key, _SIGNS[key], _WORDS[key], count) for key, count in counts), ("lost", "✕", "Lost", len(page.lost)),
        ),
        rows=rows, caps=tuple({row.cap_key: row.cap for row in rows}.items()), lost=lost, more=total - len(rows),
        more_lost=len(page.lost) - len(lost), total=total,
    )  # fmt: skip


def cap_of(specimen: Specimen, site: Site) -> Cap:
    """How the tube of this specimen is told from the others."""
    kind = site.kinds.get(specimen.kind)
    if kind is None:
        return Cap(mark="--", ink=hex_of(None), figure="", words=specimen.kind)
    letters = kind.mark or "--"
    stopper = f", stopper {kind.stopper}" if kind.stopper else ""
    words = f"{kind_of(specimen, site)}{stopper}"
    return Cap(mark=letters, ink=hex_of(kind.stopper), figure=figure_of(kind.stopper), words=words)


def kind_of(specimen: Specimen, site: Site) -> str:
    """What this site calls the kind of its tube."""
    kind = site.kinds.get(specimen.kind)
    return specimen.kind if kind is None else site.names.get(kind.key, kind.name)


def name_of(test: str, site: Site) -> str:
    """What this site calls a test."""
    return site.names.get(test) or (site.tests[test].name if test in site.tests else test)


def names_of(tests: Iterable[str], site: Site) -> str:
    """The names of these tests, the first few of many."""
    names = [name_of(test, site) for test in tests]
    rest = len(names) - MOST_NAMES
    return ", ".join(names if rest <= 1 else [*names[:MOST_NAMES], f"{rest} more"])


def _row(line: Line, specimen: Specimen, view: BoardView, times: Times) -> Row:
    urgency = _urgency_of(line, times)
    is_early = line.urgency == "waiting"
    moment = line.opens_at if is_early else line.begin_by
    left = "" if moment is None else times.left(moment)
    by = "" if moment is None else f"{'from' if is_early else 'begin by'} {times.short(moment)}"
    site = times.site
    return Row(
        id=line.specimen, kind=kind_of(specimen, site), urgency=urgency, sign=_SIGNS[urgency],
        word=_WORDS[urgency], left=_left_words(urgency, left), by=by, do=line.text,
        place="" if line.storage == "ambient" else f"in {line.storage} storage",
        tests=names_of(line.tests, site), all_tests=tuple(name_of(test, site) for test in line.tests),
        is_cut=len(line.tests) > MOST_NAMES + 1,
        lost=names_of(line.lost, site), cap=cap_of(specimen, site), cap_key=f"cap-{specimen.kind}",
        strip=_strip(line, times),
        saves=tuple(_saves(view.prospects.get(line.specimen), times)), unknown=line.unknown,
        reasons=tuple(of_reason(reason) for reason in line.reasons),
    )  # fmt: skip


def _urgency_of(line: Line, times: Times) -> str:
    if line.urgency == "due" and line.begin_by is not None and times.seconds(line.begin_by) <= 60 * SOON_MIN:
        return "soon"
    return line.urgency


def _left_words(urgency: str, left: str) -> str:
    words = {"late": f"{left} late", "waiting": f"in {left}", "unknown": ""}
    return words.get(urgency, f"{left} left")


def _strip(line: Line, times: Times) -> Strip | None:
    if line.begin_by is None:
        return None

    def at(minutes: float) -> float:
        return round(100 * min(max(minutes + BEFORE_MIN, 0), BEFORE_MIN + AFTER_MIN) / (BEFORE_MIN + AFTER_MIN), 2)

    opens, begin = times.seconds(line.opens_at) / 60, times.seconds(line.begin_by) / 60
    due = begin if line.due_at is None else times.seconds(line.due_at) / 60
    opened = times.short(line.opens_at)
    words = f"may begin from {opened}, must begin by {times.short(line.begin_by)}"
    if line.due_at is not None and line.due_at - line.begin_by >= timedelta(minutes=1):
        words += f", over by {times.short(line.due_at)}"
    x, begin_x = at(opens), at(begin)
    return Strip(
        x=x, begin_x=max(begin_x, x), end_x=max(at(due), begin_x), late=max(0.0, round(NOW_AT - begin_x, 2)),
        is_past_end=begin > AFTER_MIN, words=words,
    )  # fmt: skip


def _saves(found: Prospect | None, times: Times) -> Iterable[str]:
    """What can still be saved and how, tests of one fate together."""
    if found is None:
        return
    saved = sorted(
        found.saved, key=lambda one: (not one.is_known, one.due_at is None, one.due_at or times.now, one.way)
    )
    for (is_known, due_at, way), some in groupby(saved, key=lambda one: (one.is_known, one.due_at, one.way)):
        rescues: list[Rescue] = list(some)
        names = names_of((one.test for one in rescues), times.site)
        if not is_known:
            yield f"{names}: not known whether it still serves"
            continue
        due = "as long as it stays so" if due_at is None else f"by {times.short(due_at)}"
        ends = [one.until for one in rescues if one.until is not None]
        until = f"; then it keeps to {times.short(min(ends))}" if way != "test" and ends else ""
        yield f"{names}: {_WAYS[way]} {due}{until}"


def counted(counts: Mapping[str, int]) -> str:
    """Counts in words, such as "2 accepted, 1 refused"; nothing for none.

    >>> counted({"accepted": 2, "with a comment": 0, "refused": 1})
    '2 accepted, 1 refused'
    """
    return ", ".join(f"{count} {word}" for word, count in counts.items() if count)
