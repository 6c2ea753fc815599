"""The tray drawn in a terminal: one picture a tube, in order, readable without colour."""

from __future__ import annotations

from itertools import zip_longest

from cubital.app.tray import DrawRows, Gauge, Tray, TubeRow
from cubital.cli.sheet import Sheet

# A tube lies on its side, its cap with the two letters to the left, and is as long as it is large.
CELLS_PER_ML, LEAST_CELLS, MOST_CELLS = 1.1, 2, 13
NUMBER_WIDTH = 4
PICTURE_WIDTH = MOST_CELLS + 9
GAUGE_CELLS = 30
NO_MARK = "--"  # a syringe that is thrown away has no tube kind


def draw_tray(tray: Tray, sheet: Sheet) -> list[str]:
    """The lines of the tray: what is grave first, then the tubes, the blood, the proof, the notes."""
    lines = [sheet.mark(line, "strong") for line in sheet.wrap(tray.headline)]
    lines += [sheet.mark(line, "faint") for line in sheet.wrap(tray.setting)]
    lines += _flagged(tray.stops, "STOP", "stop", sheet)
    lines += _flagged(tray.unsettled, "UNSETTLED", "stop", sheet)
    lines += _flagged(tray.left_out, "LEFT OUT", "stop", sheet)
    lines += _flagged(tuple(other.words for other in tray.instead), "or", "faint", sheet)
    lines += _flagged(tray.warnings, "watch", "warn", sheet)
    for draw in tray.draws:
        lines += _draw(draw, sheet) if draw.rows else []
    lines += ["", *_blood(tray, sheet), *sheet.wrap(tray.proof, first="proof  ")]
    lines += _legend(tray, sheet)
    if tray.notes:
        lines += ["", *_flagged(tray.notes, "note", "faint", sheet)]
    lines += ["", *(sheet.mark(line, "faint") for line in sheet.wrap(" ".join(tray.always), first="always  "))]
    return lines


def _flagged(texts: tuple[str, ...], flag: str, how: str, sheet: Sheet) -> list[str]:
    lines = []
    for text in texts:
        first, *rest = sheet.wrap(text, first=f"{flag}  ")
        lines += [sheet.mark(flag, how) + first[len(flag) :], *rest]
    return lines


def _draw(draw: DrawRows, sheet: Sheet) -> list[str]:
    lines = [""]
    if draw.title:
        rule = sheet.glyphs.rule
        *title, last = sheet.wrap(draw.title, first=f"{rule * 2} ", rest="   ")
        last = f"{last} ".ljust(sheet.width, rule) if len(last) < sheet.width else last
        lines += [sheet.mark(line, "strong") for line in (*title, last)]
    for one in draw.before:
        lines += sheet.wrap(one.words, rest="      ")
    for row in draw.rows:
        lines += _row(row, sheet)
    return lines


def _row(row: TubeRow, sheet: Sheet) -> list[str]:
    picture = draw_tube(row, sheet)
    words = _words(row, sheet, sheet.width - NUMBER_WIDTH - PICTURE_WIDTH)
    blank = " " * PICTURE_WIDTH
    lines = []
    for number, (drawn, said) in enumerate(zip_longest(picture, words)):
        head = f"{row.position:>2}" if number == 1 else "  "
        head = sheet.mark(head, "strong") + "  "
        lines.append((head + (drawn or blank) + (said or "")).rstrip())
    return lines


def draw_tube(row: TubeRow, sheet: Sheet) -> list[str]:
    """Three lines of one width: the cap with its letters, the blood to draw, liquid and gel at the end."""
    glyphs = sheet.glyphs
    cells = min(MOST_CELLS, LEAST_CELLS + round(row.blood_ul / 1000 * CELLS_PER_ML))
    liquid = max(1, round(cells * row.liquid_ul / (row.blood_ul + row.liquid_ul))) if row.liquid_ul else 0
    gel = 1 if row.gel else 0
    content = glyphs.waste if row.purpose == "discard" else glyphs.blood
    inside = content * (cells - liquid - gel) + glyphs.gel * gel + glyphs.liquid * liquid
    cap = f" {row.mark or NO_MARK} "

    def edge(corners: tuple[str, str, str, str]) -> str:
        left, line, joint, right = corners
        return left + line * len(cap) + joint + line * cells + right

    left, middle, right = glyphs.side
    lines = [edge(glyphs.top), left + cap + middle + inside + right, edge(glyphs.bottom)]
    padded = [line.ljust(PICTURE_WIDTH) for line in lines]
    padded[1] = padded[1].replace(cap, sheet.mark(cap, "strong"), 1)
    return padded


def _words(row: TubeRow, sheet: Sheet, width: int) -> list[str]:
    room = width - len(row.mixing) - 2
    first, *more = sheet.wrap(f"{row.size}  {row.kind}", width=room, rest=" " * (len(row.size) + 2))
    top = sheet.mark(first, "strong") + " " * (width - len(first) - len(row.mixing)) + sheet.mark(row.mixing, "strong")
    letters = f" [{row.letters}]" if row.letters else ""
    stopper = f"; stopper {row.stopper}" if row.stopper else ""
    return [
        top,
        *(sheet.mark(line, "strong") for line in more),
        *(sheet.mark(line, "faint") for line in sheet.wrap(f"{row.additive}{letters}{stopper}", width=width)),
        *sheet.join(row.contents, first="for   ", width=width),
        *sheet.join(row.care, first="care  ", width=width),
    ]


def _blood(tray: Tray, sheet: Sheet) -> list[str]:
    lines = sheet.wrap(tray.total, first="blood  ")
    if tray.gauge is not None:
        lines.append("       " + draw_gauge(tray.gauge, sheet))
    return lines


def draw_gauge(gauge: Gauge, sheet: Sheet) -> str:
    """A bar whose whole length is the limit: drawn before, this draw, what is left.

    Both parts are rounded up, so that the bar never looks emptier than it is.
    """
    glyphs = sheet.glyphs
    limit_ul = max(1, gauge.limit_ul)
    used = min(GAUGE_CELLS, -(-GAUGE_CELLS * gauge.drawn_ul // limit_ul))
    both = min(GAUGE_CELLS, -(-GAUGE_CELLS * (gauge.drawn_ul + gauge.this_ul) // limit_ul))
    bar = glyphs.used * used + glyphs.now * max(0, both - used) + glyphs.free * (GAUGE_CELLS - max(both, used))
    percent = -(-100 * (gauge.drawn_ul + gauge.this_ul) // limit_ul)
    return f"[{bar}] {percent} % of the limit"


def _legend(tray: Tray, sheet: Sheet) -> list[str]:
    glyphs = sheet.glyphs
    rows = [row for draw in tray.draws for row in draw.rows]
    shown = (
        (any(row.purpose != "discard" for row in rows), f"{glyphs.blood} blood"),
        (any(row.purpose == "discard" for row in rows), f"{glyphs.waste} discarded"),
        (any(row.liquid_ul for row in rows), f"{glyphs.liquid} liquid already inside"),
        (any(row.gel for row in rows), f"{glyphs.gel} gel"),
    )
    words = [text for is_shown, text in shown if is_shown]
    lines = sheet.wrap(", ".join(words) + "; a longer tube is larger", first="drawn  ") if words else []
    if tray.gauge is not None:
        before = f"{glyphs.used} before, " if tray.gauge.drawn_ul else ""
        lines += sheet.wrap(f"of the limit: {before}{glyphs.now} this order, {glyphs.free} left", first="bar    ")
    return lines
