"""Whatever comes in as results is read or refused in words: nothing else is ever raised."""

from __future__ import annotations

import contextlib
import copy
import json
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from cubital.app.wiring import open_site, read_samples
from cubital.errors import CubitalError
from cubital.exchange.results_typed import read_typed_lines

SOUND = Path(__file__).parents[2] / "data" / "results" / "sound"
SEEDS = [json.loads(path.read_bytes()) for path in sorted(SOUND.glob("*.json"))]
SITE = open_site(demo=True)
ODD: st.SearchStrategy[Any] = st.sampled_from(
    [None, True, 0, -1, 4.2, 10**400, 1e300, "", "x", "K", "mmol/L", "#k", "2026-13-45", [], {}, [[]], [None], {"a": 1}]
)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The path of every part of this value."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(found for key, part in inner for found in places(part, (*path, key)))]


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_sound_document_with_one_part_replaced_is_read_or_refused(data: st.DataObject) -> None:
    value = copy.deepcopy(data.draw(st.sampled_from(SEEDS)))
    *path, last = data.draw(st.sampled_from(places(value)[1:]))
    parent = value
    for key in path:
        parent = parent[key]
    parent[last] = data.draw(ODD)
    with contextlib.suppress(CubitalError):
        assert read_samples(json.dumps(value), SITE)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    with contextlib.suppress(CubitalError):
        assert read_samples(data, SITE)


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="KNa 0123456789.,;:<>-()mol/L\t\nhg", max_size=80) | st.text(max_size=80), st.booleans())
def test_any_typed_line_is_read_said_or_refused(text: str, is_earlier: bool) -> None:
    for line in read_typed_lines(text, is_earlier=is_earlier):
        assert (line.result is not None) or line.said
