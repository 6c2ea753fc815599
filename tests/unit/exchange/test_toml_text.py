"""Writing TOML, and changing one entry of a file without touching the rest of its text."""

from __future__ import annotations

import datetime
import tomllib
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cubital.app.wiring import demo_folder
from cubital.exchange.toml_text import change_entry, write_toml

FILE = """# The head of the file.
include = "shipped"

# Above the first.
[first]
a = 1 # beside it
rows = [
    [1, 2],
    # inside
    [3],
]

# Above the second.
[second]
b = "two"
[second.inner]
c = 3

# The end.
"""
TEXTS = st.text(max_size=8)
VALUES = st.recursive(
    st.booleans() | st.integers(-(2**63), 2**63 - 1) | TEXTS | st.dates()
    | st.decimals(allow_nan=False, allow_infinity=False, places=3),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=8,
)  # fmt: skip
TABLES = st.dictionaries(TEXTS, VALUES, max_size=4)


def read(text: str) -> dict[str, Any]:
    return tomllib.loads(text, parse_float=Decimal)


@given(TABLES)
def test_what_is_written_reads_back(table: dict[str, Any]) -> None:
    assert read(write_toml(table)) == table


@given(TABLES, TEXTS, st.none() | VALUES)
def test_a_changed_entry_reads_back_and_the_others_stay(table: dict[str, Any], key: str, value: Any) -> None:
    wanted = {name: old for name, old in table.items() if name != key}
    if value is not None:
        wanted[key] = value
    assert read(change_entry(write_toml(table), key, value)) == wanted


@pytest.mark.parametrize("key", ["first", "second", "include"])
def test_only_the_lines_of_the_entry_change(key: str) -> None:
    changed = change_entry(FILE, key, {"z": 9} if key != "include" else None)
    for comment in ("# The head of the file.", "# Above the first.", "# Above the second."):
        assert comment in changed
    other = "second" if key == "first" else "first"
    assert read(changed)[other] == read(FILE)[other]
    assert ("# inside" in changed) == (key != "first")


def test_a_new_entry_comes_at_the_end_and_a_new_value_below_the_head() -> None:
    assert change_entry(FILE, "third", {"d": Decimal("4")}) == FILE + "\n[third]\nd = 4.0\n"
    changed = change_entry(FILE, "name", "Ours")
    assert changed.startswith('# The head of the file.\nname = "Ours"\n')
    assert changed.replace('name = "Ours"\n', "") == FILE


def test_an_entry_taken_out_is_gone_with_its_inner_tables() -> None:
    changed = change_entry(FILE, "second", None)
    assert "second" not in read(changed)
    assert "# Above the first." in changed


def test_an_entry_written_in_an_unusual_way_is_still_changed_rightly() -> None:
    odd = 'first.a = 1\nfirst.b = 2\n[ "second" ]\nc = """\n[first]\n"""\n'
    assert read(change_entry(odd, "first", {"a": 3})) == {"first": {"a": 3}, "second": {"c": "[first]\n"}}
    assert read(change_entry(odd, "second", {"c": 1})) == {"first": {"a": 1, "b": 2}, "second": {"c": 1}}


def test_numbers_days_and_long_lists_are_written_as_they_are_read() -> None:
    table = {
        "k": {
            "draw_ml": Decimal("2.70"), "whole": Decimal("4"), "day": datetime.date(2038, 10, 31), "gel": False,
            "rows": [{"text": 'a "quoted" \\ line', "n": i} for i in range(4)],
        }
    }  # fmt: skip
    text = write_toml(table)
    assert read(text) == table
    assert "rows = [\n    {" in text
    assert "draw_ml = 2.70\n" in text


@pytest.mark.parametrize("name", ["site.toml", "tubes.toml", "tests.toml", "centrifuges.toml"])
def test_every_entry_of_the_demo_site_can_be_written_anew_in_place(name: str) -> None:
    text = (demo_folder() / name).read_text()
    for key, value in read(text).items():
        changed = change_entry(text, key, value)
        assert read(changed) == read(text)
        kept = [line for line in text.splitlines() if line.startswith("#")]
        assert [line for line in changed.splitlines() if line.startswith("#")] == kept, key
