"""Whatever comes in, the prompt plans or refuses: it never breaks and never plans what it did not read."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from cubital.app.wiring import open_site
from cubital.model.vocabulary import ACCESSES, OBJECTIVES, SEXES
from tests.unit.cli.prompt import Said, say

NAMES = st.sampled_from(["K", "Na", "CBC", "PT", "CMP", "lactate", "blood culture", "GTT", "lead", "kk", "", "2823-3"])
NUMBERS = st.one_of(
    st.integers(-(10**6), 10**6),
    st.floats(allow_nan=False, allow_infinity=False),
    st.decimals(0, 100, places=2).map(float),
)
SCALARS = st.one_of(st.none(), st.booleans(), NUMBERS, st.text(max_size=12))
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
PATIENTS = st.fixed_dictionaries(
    {},
    optional={
        "age": st.sampled_from(["4 a", "2 d", "61 a", "9 mo", "0 h", "4", "-1 a"]) | VALUES,
        "birth_date": st.dates().map(str) | VALUES,
        "sex": st.sampled_from(["female", "male"]) | VALUES,
        "weight_kg": NUMBERS | VALUES,
        "height_cm": NUMBERS | VALUES,
        "hematocrit": st.floats(0, 1) | VALUES,
        "drawn_ml": NUMBERS | VALUES,
        "flags": st.lists(st.sampled_from(["latex", "preterm"]) | st.text(max_size=8), max_size=3) | VALUES,
    },
)  # fmt: skip
ASKS = st.fixed_dictionaries({"test": NAMES}, optional={"at_min": NUMBERS, "priority": VALUES})
ORDERS = st.fixed_dictionaries(
    {"tests": st.lists(NAMES | ASKS, max_size=6) | VALUES},
    optional={
        "patient": PATIENTS | VALUES,
        "access": st.sampled_from(["straight-needle", "winged-set", "syringe", "skin-puncture", "line"]) | VALUES,
        "objective": st.sampled_from(["fewest-tubes", "least-blood"]) | VALUES,
        "on": st.dates().map(str) | VALUES,
        "line": st.fixed_dictionaries({}, optional={"dead_space_ml": NUMBERS}) | VALUES,
        "resourceType": st.sampled_from(["ServiceRequest", "Bundle"]) | VALUES,
        "id": VALUES,
    },
)  # fmt: skip

WORDS = st.text(max_size=12).filter(lambda text: not text.startswith("-"))
LINES = st.binary(max_size=60).map(lambda data: data.replace(b"\n", b""))

SITE = open_site(demo=True)
SOUND = st.fixed_dictionaries(
    {
        "tests": st.lists(st.sampled_from(sorted(SITE.tests)), min_size=1, max_size=12, unique=True),
        "access": st.sampled_from(ACCESSES),
        "objective": st.sampled_from(OBJECTIVES),
    },
    optional={
        "patient": st.one_of(
            st.fixed_dictionaries(
                {"age": st.integers(1, 27).map(lambda d: f"{d} d"), "weight_kg": st.sampled_from([1.5, 2.8, 3.6])},
                optional={"drawn_ml": st.integers(0, 9), "hematocrit": st.sampled_from([0.4, 0.62])},
            ),
            st.fixed_dictionaries(
                {"age": st.integers(18, 90).map(lambda a: f"{a} a"), "weight_kg": st.integers(45, 120)},
                optional={"drawn_ml": st.integers(0, 200), "sex": st.sampled_from(SEXES)},
            ),
        ),
    },
)


def check(said: Said) -> Any:
    """A plan and nothing on stderr, or one and the words it leaves out, or an error that says where; one document."""
    (document,) = said.documents()
    assert "internal" not in said.err
    if said.status == 0:
        assert document["format"] == "cubital.plan/1"
        assert said.err == ""
        assert document["unsettled"] == []
    elif said.status == 3:
        assert document["format"] == "cubital.plan/1"
        assert document["unsettled"]
        assert document["cautions"][0]["level"] == "stop"
        assert said.err.startswith("cubital: ")
    else:
        assert said.status == 2
        assert document["format"] == "cubital.error/1"
        assert document["message"]
        assert said.err.startswith("cubital: ")
    return document


@settings(max_examples=150, deadline=None)
@given(order=ORDERS)
def test_an_order_of_any_values_is_planned_or_refused(order: dict[str, Any]) -> None:
    document = check(say("plan", "--order", "-", "--json", "--demo", stdin=json.dumps(order).encode()))
    if document["format"] == "cubital.plan/1":
        assert isinstance(order["tests"], list)
        assert document["tubes"] or document["unplaced"]


@settings(max_examples=150, deadline=None)
@given(order=SOUND)
def test_a_sound_order_has_every_test_in_a_tube_or_named_as_left_out(order: dict[str, Any]) -> None:
    document = check(say("plan", "--order", "-", "--json", "--demo", stdin=json.dumps(order).encode()))
    if document["format"] == "cubital.error/1":
        # A test that this access or this stock cannot take is refused by name, never left out in silence.
        assert document["error"] in ("NoTube", "UnplacedKind", "PlanError")
        return
    placed = [test for tube in document["tubes"] if tube["purpose"] == "collect" for test in tube["tests"]]
    bottled = {test for tube in document["tubes"] if tube["purpose"] == "culture" for test in tube["tests"]}
    left_out = [entry["test"] for entry in document["unplaced"]]
    assert sorted([*placed, *bottled, *left_out]) == sorted(order["tests"])
    limit_ml, drawn_ml = document["totals"]["limit_ml"], document["totals"]["already_drawn_ml"]
    if limit_ml is not None and document["tubes"]:
        assert document["totals"]["all_blood_ml"] + drawn_ml <= limit_ml + 1e-9
    tray = say("plan", "--order", "-", "--demo", stdin=json.dumps(order).encode())
    assert tray.status == 0
    assert tray.out.startswith("NOT ALL: ") == bool(left_out)


@settings(max_examples=150, deadline=None)
@given(data=st.binary(max_size=200))
def test_bytes_of_any_kind_are_refused_or_planned(data: bytes) -> None:
    check(say("plan", "--order", "-", "--json", stdin=data))


@settings(max_examples=60, deadline=None)
@given(order=ORDERS, cut=st.integers(0, 400))
def test_an_order_cut_short_is_never_planned(order: dict[str, Any], cut: int) -> None:
    data = json.dumps(order).encode()
    said = say("plan", "--order", "-", "--json", stdin=data[: min(cut, len(data) - 1)])
    assert check(said)["format"] == "cubital.error/1"


@settings(max_examples=150, deadline=None)
@given(words=st.lists(NAMES | WORDS, max_size=5), number=st.text(max_size=8) | NUMBERS.map(str))
def test_words_at_the_prompt_are_planned_or_refused(words: list[str], number: str) -> None:
    check(say("plan", "--json", f"--weight-kg={number}", f"--hematocrit={number}", "--", *words))


@settings(max_examples=60, deadline=None)
@given(lines=st.lists(ORDERS.map(lambda order: json.dumps(order).encode()) | LINES, max_size=5))
def test_every_line_that_is_not_blank_gives_one_document(lines: list[bytes]) -> None:
    said = say("plan", "--orders", "-", "--json", "--demo", stdin=b"\n".join(lines))
    filled = [line for line in lines if line.strip()]
    documents = said.documents()
    assert "internal" not in said.err
    assert len(documents) == max(1, len(filled))
    failed = any(document["format"] == "cubital.error/1" for document in documents)
    unsettled = any(document.get("unsettled") for document in documents)
    assert said.status == (2 if not filled else 1 if failed else 3 if unsettled else 0)


@settings(max_examples=100, deadline=None)
@given(text=WORDS)
def test_a_search_for_anything_finds_something_or_says_so(text: str) -> None:
    said = say("find", "--demo", "--", text)
    assert said.status in (0, 1)
    assert bool(said.out) == (said.status == 0)
    assert "internal" not in said.err
