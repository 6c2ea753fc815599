"""The edges of the order of draw: exact places, exact words, and what tells two places apart."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital import facts
from cubital.errors import PlanError, UnplacedKind
from cubital.model import Placing, TubeKind
from cubital.planning.sequence import Sequence
from tests.published.shipped import site_of_kinds
from tests.unit.planning.test_sequence import placed


def ranks(site_name: str = "common-practice") -> Sequence:
    return Sequence(site_of_kinds(site_name), "straight-needle")


@pytest.mark.parametrize(
    ("placing", "word", "place"),
    [
        (Placing(kind="acd-a", after="edta"), "after", "behind"),
        (Placing(kind="acd-a", before="edta"), "before", "ahead"),
        (Placing(kind="acd-a", with_kind="edta"), "with", "level"),
    ],
)
def test_a_site_s_placing_is_behind_ahead_of_or_level_with_the_kind_it_names(
    placing: Placing, word: str, place: str
) -> None:
    sequence = Sequence(placed(placing), "straight-needle")
    edta, acd = sequence.rank("edta").order, sequence.rank("acd-a")
    assert {"behind": acd.order > edta, "ahead": (*acd.order, 0) < (*edta, 0), "level": acd.order == edta}[place]
    assert acd.words == f"the site places acd-a {word} edta: house rule"
    assert (acd.basis, acd.source) == ("site", "site")


def test_a_kind_ahead_of_another_still_stands_behind_what_is_drawn_before_it() -> None:
    sequence = Sequence(placed(Placing(kind="acd-a", before="edta")), "straight-needle")
    keys = [sequence.sort_key(kind, 2000, ()) for kind in ("heparin", "acd-a", "edta")]
    assert keys == sorted(keys)


def test_a_kind_behind_another_still_stands_ahead_of_the_next_step() -> None:
    sequence = Sequence(placed(Placing(kind="acd-a", after="heparin")), "straight-needle")
    keys = [sequence.sort_key(kind, 2000, ()) for kind in ("heparin", "acd-a", "edta")]
    assert keys == sorted(keys)


def test_two_kinds_placed_after_one_another_keep_the_chain() -> None:
    site = placed(Placing(kind="acd-a", after="heparin"), Placing(kind="acd-b", after="acd-a"))
    sequence = Sequence(site, "straight-needle")
    keys = [sequence.sort_key(kind, 2000, ()) for kind in ("heparin", "acd-a", "acd-b", "edta")]
    assert keys == sorted(keys)
    assert len(sequence.rank("acd-b").order) == len(sequence.rank("heparin").order) + 2


def test_the_step_is_counted_from_one_and_named_with_the_mark_of_the_policy() -> None:
    policy = facts.order_policies()["clsi-gp41"]
    number = next(n for n, step in enumerate(policy.steps) if any(p.additive == "citrate-9-1" for p in step.places))
    rank = ranks("clsi-gp41").rank("citrate")
    assert rank.words == f"step {number + 1} of {policy.name}: {policy.steps[number].name}"
    assert (rank.basis, rank.source) == (policy.steps[number].mark.basis, policy.steps[number].mark.source)
    assert rank.order == (number, 0)


def test_a_place_that_names_the_use_wins_over_one_that_names_the_gel_or_the_material() -> None:
    """Each policy is asked for every shipped kind: the place found names the most about it."""
    for key, policy in facts.order_policies().items():
        sequence = Sequence(site_of_kinds(key), "straight-needle")
        for kind in sequence.site.kinds.values():
            rank = sequence.find(kind.key)
            if rank is None or rank.basis == "site":
                continue
            found = policy.steps[rank.order[0]].places[rank.order[1]]
            fitting = [place for step in policy.steps for place in step.places if fits(kind, place)]
            assert fits(kind, found), (key, kind.key)
            assert found == max(fitting, key=closeness), (key, kind.key)


def fits(kind: TubeKind, place: facts.Place) -> bool:
    if place.use is None and kind.use in {"trace-element", "lead"}:
        return False
    named = ((place.use, kind.use), (place.material, kind.material), (place.gel, kind.gel))
    return place.additive == kind.additive and all(wanted in (None, found) for wanted, found in named)


def closeness(place: facts.Place) -> tuple[bool, bool, bool]:
    return (place.use is not None, place.material is not None, place.gel is not None)


def test_a_made_up_kind_with_gel_and_material_takes_the_place_that_names_both() -> None:
    step = facts.order_policies()["common-practice"].steps[0]
    places = (
        facts.Place(additive="acd-b"),
        facts.Place(additive="acd-b", gel=True),
        facts.Place(additive="acd-b", material="glass"),
        facts.Place(additive="acd-b", gel=True, material="glass"),
        facts.Place(additive="acd-b", use="tissue-typing"),
    )
    sequence = ranks()
    sequence.policy = replace(sequence.policy, steps=(replace(step, places=places),))
    kind = TubeKind(key="made-up", name="made up", additive="acd-b", gel=True, material="glass", sizes=())
    sequence.site = replace(
        sequence.site, kinds={"made-up": kind, "typing": replace(kind, key="typing", use="tissue-typing")}
    )
    assert sequence.rank("made-up").order == (0, 3)
    assert sequence.rank("typing").order == (0, 4)


def test_the_refusal_of_an_unplaced_kind_says_what_others_hold_and_how_to_write_a_place() -> None:
    with pytest.raises(UnplacedKind) as told:
        ranks("clsi-gp41").rank("acd-a")
    choices = [
        choice for silent in facts.order_policies()["clsi-gp41"].silent
        if silent.additive == "acd-a" and silent.use is None for choice in silent.choices
    ]  # fmt: skip
    assert told.value.choices == tuple(choices) != ()
    assert told.value.where == "tube acd-a"
    assert f" What others say: {'; '.join(choices)}. Write it in site.toml" in str(told.value)
    assert '[place] acd-a = {after = "…"}, {before = "…"} or {with = "…"}' in str(told.value)


def test_what_is_said_of_one_kind_is_not_said_of_another() -> None:
    """A note of the policy speaks of an additive, a gel and a use together, not of any one of them."""
    policy = facts.order_policies()["clsi-gp41"]
    note = replace(policy.silent[0], additive="acd-b", gel=False, use="tissue-typing", choices=("only this",))
    sequence = ranks("clsi-gp41")
    sequence.policy = replace(policy, silent=(note,), steps=())
    plain = TubeKind(key="k", name="k", additive="acd-b", gel=False, use="tissue-typing", sizes=())
    for kind, said in (
        (plain, ("only this",)), (replace(plain, additive="acd-a"), ()),
        (replace(plain, gel=True), ()), (replace(plain, use=None), ()),
    ):  # fmt: skip
        sequence.site, sequence._ranks = replace(sequence.site, kinds={"k": kind}), {}
        with pytest.raises(UnplacedKind) as told:
            sequence.rank("k")
        assert told.value.choices == said
        assert ("What others say" in str(told.value)) == bool(said)


def test_an_unknown_policy_is_refused_at_its_place_in_the_file() -> None:
    with pytest.raises(PlanError) as told:
        ranks("house")
    assert told.value.where == "site.toml [planning] order_of_draw"
