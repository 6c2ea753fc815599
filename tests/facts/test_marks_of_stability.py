"""What a plan says that a time rests on is the mark about that time, and no other."""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.errors import FactsError
from cubital.facts.directory import load_stability

MARKS = [
    {"basis": "common-practice", "source": "common-practice"},
    {"basis": "memory", "source": "memory", "about": ["cells"]},
    {"basis": "published", "source": "feng-2014", "about": ["cold", "frozen"]},
]


def test_a_time_rests_on_the_mark_about_it_else_on_the_one_about_all() -> None:
    keeps = load_stability({"a": {"ambient_min": 5, "marks": MARKS}}, file="own.toml")["a"]
    said = {kept: keeps.mark_of(kept).basis for kept in ("cells", "ambient", "cold", "frozen")}
    assert said == {"cells": "memory", "ambient": "common-practice", "cold": "published", "frozen": "published"}


def test_where_marks_say_what_they_are_about_each_time_of_the_entry_has_one() -> None:
    for key, keeps in facts.stability().items():
        if not all(mark.about for mark in keeps.marks):
            continue
        times = {
            "cells": keeps.separate_within_min, "ambient": keeps.ambient_min,
            "cold": keeps.refrigerated_min, "frozen": keeps.frozen_d,
        }  # fmt: skip
        about = {kept for mark in keeps.marks for kept in mark.about}
        assert {kept for kept, time in times.items() if time is not None} <= about, key


def test_a_mark_about_something_else_is_refused() -> None:
    mark = {"basis": "memory", "source": "memory", "about": ["draw"]}
    with pytest.raises(FactsError, match=r"own\.toml \[a\]"):
        load_stability({"a": {"ambient_min": 5, "marks": [mark]}}, file="own.toml")
