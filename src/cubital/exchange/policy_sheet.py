"""A site's name and policy as a table, as far as they are tabular, and back to the tables of `site.toml`."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from cubital.exchange.bench_table import BENCH_KEYS
from cubital.exchange.policy_table import NO_LIMIT, PLANNING_KEYS
from cubital.exchange.site_sheet import Entries, Line, Sheet, check_columns, is_full, join_cell, split_cell, whole_of
from cubital.exchange.table import is_text, near_misses, show
from cubital.model import Finding, Site

COLUMNS = ("part", "key", "value", "because")
NEEDED = ("part", "key", "value")
PARTS = ("site", "planning", "place", "travel", "bench", "names")
# Keys of [planning] whose value is a list of words in one cell.
LISTS = ("whole_blood_tests",)
SITE_WORDS = ("name", "time_zone")
FLAGS = {"yes": True, "no": False}
BESIDE = ("after", "before", "with")


def policy_rows(site: Site) -> Iterator[dict[str, str]]:
    """The cells of every line: name and zone, both policies, the house's own places and words, the ways of tubes."""
    planning = site.planning
    yield {"part": "site", "key": "name", "value": site.name}
    yield {"part": "site", "key": "time_zone", "value": site.time_zone}
    values = {
        "order_of_draw": planning.order_of_draw, "objective": planning.objective,
        "recovery": _decimal(planning.recovery), "hematocrit": _decimal(planning.hematocrit),
        "blood_limit": planning.blood_limit or NO_LIMIT, "altitude_m": str(planning.altitude_m),
        "near_limit_percent": str(planning.near_limit_percent), "reserve_percent": str(planning.reserve_percent),
        "line_discard": planning.line_discard, "whole_blood_tests": join_cell(planning.whole_blood_tests),
        "usual_travel_min": "" if planning.usual_travel_min is None else str(planning.usual_travel_min),
        "windows": planning.windows,
    }  # fmt: skip
    for key, value in values.items():
        if value:
            yield {"part": "planning", "key": key, "value": value}
    for group in planning.share_benches:
        yield {"part": "planning", "key": "share_benches", "value": join_cell(group)}
    for placing in planning.placings:
        word, other = next(
            (word, other)
            for word, other in zip(BESIDE, (placing.after, placing.before, placing.with_kind), strict=True)
            if other is not None
        )
        yield {"part": "place", "key": placing.kind, "value": f"{word} {other}", "because": placing.because}
    for place, minutes in planning.travel_min.items():
        yield {"part": "travel", "key": place, "value": str(minutes)}
    yield {"part": "bench", "key": "hemolysis_band", "value": "yes" if site.bench_policy.hemolysis_band else "no"}
    for key, words in site.names.items():
        yield {"part": "names", "key": key, "value": words}


def _decimal(share: Fraction | None) -> str:
    if share is None:
        return ""
    return f"{(Decimal(share.numerator) / Decimal(share.denominator)).normalize():f}"


def read_policy_sheet(sheet: Sheet, *, findings: list[Finding]) -> Entries:
    """The tables of `site.toml` that the lines make, `planning`, `place`, `travel`, `bench`, `names`, and its head.

    The values are checked when the site is read with them; here only what is no policy at all becomes a finding.
    """
    unread = check_columns(sheet, COLUMNS, NEEDED, prefix=None, findings=findings)
    entries: dict[str, dict[str, object]] = {part: {} for part in PARTS}
    places: dict[tuple[str, str], str] = {}
    for line in sheet.lines:
        if is_full(findings, file=sheet.file):
            break
        part, key, text = (line.cells.get(column, "") for column in NEEDED)
        if part not in PARTS or not key or not text:
            expected = f"a part ({', '.join(PARTS)}), a key and a value"
            sheet.note(
                findings, line.number, "part", found=show(part) if part not in PARTS else "an empty cell",
                expected=expected, remedy="write all three, or delete the line",
            )  # fmt: skip
            continue
        if not is_text(key):
            sheet.note(
                findings, line.number, "key", found=show(key), expected="a printable name", remedy="write it again"
            )
            continue
        places[(key, "") if part == "site" else (part, key)] = sheet.place(line.number, "value")
        _take(entries[part], part, key, text, line, sheet, findings)
    return Entries(sheet.file, entries, places, unread)


def _take(
    table: dict[str, object], part: str, key: str, text: str, line: Line, sheet: Sheet, findings: list[Finding]
) -> None:
    known = {"site": SITE_WORDS, "planning": PLANNING_KEYS, "bench": BENCH_KEYS}.get(part)
    if known is not None and key not in known:
        near = near_misses(key, known)
        sheet.note(
            findings, line.number, "key", found=show(key), expected="one of " + ", ".join(known),
            remedy=f"write {near[0]}" if near else "delete the line",
        )  # fmt: skip
    elif part == "planning" and key == "share_benches":
        groups = table.setdefault(key, [])
        assert isinstance(groups, list)
        groups.append(split_cell(text))
    elif key in table:
        sheet.note(findings, line.number, "key", found="it twice", expected="each key once", remedy="delete one")
    elif part == "place":
        table[key] = _read_place(text, line, sheet, findings)
    elif part == "planning" and key in LISTS:
        table[key] = split_cell(text)
    elif part == "bench":
        # What is neither is left for the reader of the table to refuse.
        table[key] = FLAGS.get(text.strip().casefold(), text)
    else:
        table[key] = _number_of(text) if part in ("planning", "travel") else text


def _read_place(text: str, line: Line, sheet: Sheet, findings: list[Finding]) -> dict[str, object]:
    word, _, other = text.partition(" ")
    if word not in BESIDE or not other.strip():
        sheet.note(
            findings, line.number, "value", found=show(text), expected="after, before or with, and a tube kind",
            remedy="write it as: after edta",
        )  # fmt: skip
    return {word: other.strip(), **({"because": line.cells["because"]} if "because" in line.cells else {})}


def _number_of(text: str) -> object:
    whole = whole_of(text.removeprefix("-"))
    if isinstance(whole, int):
        return -whole if text.startswith("-") else whole
    try:
        return Decimal(text) if text[:1] in "-0123456789" and "e" not in text.casefold() else text
    except InvalidOperation:
        return text
