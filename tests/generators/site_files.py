"""Hypothesis strategies for the files of invented sites, with the words that spreadsheets and TOML stumble over."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any, get_args

from hypothesis import strategies as st

from cubital.exchange.toml_text import write_toml
from cubital.facts.directory import HANDLING
from cubital.facts.tubes import Use
from cubital.model.vocabulary import ACCESSES, ADDITIVES, MATRICES, RANKS

_RISKY = ("=1+1", "+49", "-5", "@SUM(A1)", "'quoted", "''", "=cmd|' /C calc'!A0", "a | b", "b\\s", "\\|", '"', "a,b;c")
_TRICKY = ("_x000D_", "1975-2", "TRUE", "1e5", "#REF!", "0012", "ÄÖ µ", "＝1", "no", "none", "'=x", "a;b", "[k]")
_plain = st.text(st.characters(categories=("L", "N", "P", "S", "Zs"), codec="utf-8"), min_size=1, max_size=12)
words = (
    st.one_of(_plain, st.sampled_from((*_RISKY, *_TRICKY)))
    .map(str.strip)
    .filter(lambda text: bool(text) and text.isprintable() and "x005F_" not in text)
)
_lists = st.lists(words, max_size=3, unique=True)


def _some(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries({}, optional=fields)


@st.composite
def _accepts(draw: st.DrawFn, kinds: list[str]) -> list[dict[str, Any]]:
    ways = []
    for matrix in draw(st.lists(st.sampled_from(MATRICES), min_size=1, max_size=3, unique=True)):
        volume_ul = draw(st.integers(1, 900))
        tubes = draw(st.lists(st.sampled_from([*kinds, "unstocked"]), min_size=1, max_size=3, unique=True))
        minimum = {"minimum_ul": draw(st.integers(1, volume_ul))} if draw(st.booleans()) else {}
        ways.append({"matrix": matrix, "tubes": tubes, "volume_ul": volume_ul, **minimum})
    return ways


@st.composite
def _tests(draw: st.DrawFn, kinds: list[str], number: int) -> dict[str, Any]:
    way: dict[str, Any] = (
        {"culture": draw(st.sampled_from(("aerobic", "anaerobic", "set")))}
        if draw(st.integers(0, 5)) == 5
        else {"accepts": draw(_accepts(kinds))}
    )
    rest = draw(
        _some(
            name=words.map(lambda text: f"{text} {number}"),
            also=st.lists(words.map(lambda text: f"{text} of {number}"), max_size=3, unique=True),
            codes=st.dictionaries(words.filter(lambda text: "loinc" not in text.casefold()), words, max_size=2),
            own_tube=st.booleans(), timed=words, caution=_lists, rank=st.sampled_from(RANKS),
        )
    )  # fmt: skip
    terms = draw(st.lists(st.sampled_from(HANDLING), max_size=3, unique=True))
    return {"bench": draw(words), **way, **rest, **dict.fromkeys(terms, True)}


@st.composite
def _kinds(draw: st.DrawFn) -> dict[str, Any]:
    sizes = st.lists(
        st.builds(
            lambda draw_ul, rest: {"draw_ml": Decimal(draw_ul).scaleb(-3), **rest},
            st.integers(1000, 20_000),
            _some(
                liquid_additive_ul=st.integers(0, 900), in_stock=st.integers(0, 999),
                expires=st.dates(datetime.date(2026, 1, 1), datetime.date(2040, 1, 1)),
            ),
        ),
        min_size=1, max_size=3,
    )  # fmt: skip
    return {
        "additive": draw(st.sampled_from(ADDITIVES)),
        "sizes": draw(sizes),
        **draw(
            _some(
                gel=st.booleans(), name=words, stopper=words, use=st.sampled_from(get_args(Use)),
                material=st.sampled_from(("glass", "plastic")), inversions=st.integers(1, 50),
                accesses=st.lists(st.sampled_from(ACCESSES), max_size=3, unique=True),
                fill_min_percent=st.integers(1, 100),
                dead_volume_ul=st.dictionaries(st.sampled_from(MATRICES), st.integers(0, 900), min_size=1),
            )
        ),
    }  # fmt: skip


@st.composite
def site_files(draw: st.DrawFn, *, includes: bool | None = None) -> dict[str, str]:
    """The files of one site: own kinds and tests, some of shipped keys, alone or added to the shipped ones."""
    keys = ["house-kind", "odd kind", "heparin", "edta"]
    kinds = {key: draw(_kinds()) for key in draw(st.lists(st.sampled_from(keys), min_size=1, unique=True))}
    names = ["house-test", "test (2)", "potassium", "=1+2"]
    own = draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
    tests = {key: draw(_tests(list(kinds), number)) for number, key in enumerate(own)}
    adds = draw(st.booleans()) if includes is None else includes
    head = {"include": "shipped"} if adds else {}
    return {
        "site.toml": write_toml({"name": "an invented site"}),
        "tubes.toml": write_toml({**head, **kinds}),
        "tests.toml": write_toml({**head, **tests}),
    }
