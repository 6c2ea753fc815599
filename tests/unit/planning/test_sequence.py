"""Where a kind stands: by the policy, by the site's own placing, or nowhere; and the stated rule for a tie."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from cubital.errors import PlanError, UnplacedKind
from cubital.model import Placing, Site
from cubital.planning.sequence import Sequence
from tests.published.shipped import SHIPPED, kinds_drawn, order_of, site_of_kinds

CLSI = site_of_kinds("clsi-gp41", blood_limit=None)


def placed(*placings: Placing) -> Site:
    return replace(CLSI, planning=replace(CLSI.planning, placings=placings))


@pytest.mark.parametrize(
    ("placing", "drawn"),
    [
        (Placing(kind="trace-plain", after="serum-gel"), ["citrate", "serum-gel", "trace-plain", "edta"]),
        (Placing(kind="trace-plain", before="serum-gel"), ["citrate", "trace-plain", "serum-gel", "edta"]),
        (Placing(kind="trace-plain", before="citrate"), ["trace-plain", "citrate", "serum-gel", "edta"]),
        (Placing(kind="trace-plain", with_kind="edta"), ["citrate", "serum-gel", "edta", "trace-plain"]),
    ],
)
def test_a_kind_that_the_policy_does_not_place_goes_where_the_site_says(placing: Placing, drawn: list[str]) -> None:
    assert kinds_drawn(order_of("edta", "trace-plain", "serum-gel", "citrate"), placed(placing)) == drawn


def test_a_placing_beside_a_placed_kind_is_followed_to_the_policy() -> None:
    site = placed(Placing(kind="trace-plain", after="serum-gel"), Placing(kind="acd-a", after="trace-plain"))
    assert kinds_drawn(order_of("edta", "acd-a", "trace-plain", "serum-gel"), site) == [
        "serum-gel", "trace-plain", "acd-a", "edta",
    ]  # fmt: skip


def test_the_reason_of_a_site_s_placing_is_the_site_s_own() -> None:
    rank = Sequence(placed(Placing(kind="acd-a", before="edta", because="our rule")), "straight-needle").rank("acd-a")
    assert (rank.words, rank.basis) == ("the site places acd-a before edta: our rule", "site")


@pytest.mark.parametrize(
    "placings",
    [
        (),
        (Placing(kind="acd-a", after="acd-b"),),
        (Placing(kind="acd-a", after="acd-b"), Placing(kind="acd-b", after="acd-a")),
        (Placing(kind="acd-a", after="not-stocked"),),
    ],
)
def test_a_kind_placed_by_nobody_or_in_a_circle_stops_the_plan(placings: tuple[Placing, ...]) -> None:
    sequence = Sequence(placed(*placings), "straight-needle")
    for _ in range(2):
        with pytest.raises(UnplacedKind, match=r"Write it in site.toml: \[place\] acd-a"):
            sequence.rank("acd-a")


def test_the_site_does_not_move_a_kind_that_the_policy_places() -> None:
    site = placed(Placing(kind="citrate", after="edta"))
    assert kinds_drawn(order_of("edta", "citrate"), site) == ["citrate", "edta"]


def test_a_policy_that_nobody_defined_is_refused_with_those_that_are() -> None:
    with pytest.raises(PlanError, match=r"expected one of clsi-gp41, common-practice, eflm-2018"):
        Sequence(site_of_kinds("house"), "straight-needle")


def test_a_tie_is_settled_by_the_order_of_the_stock_then_the_larger_tube() -> None:
    sequence = Sequence(site_of_kinds("common-practice"), "straight-needle")
    keys = [sequence.sort_key(kind, draw_ul, tests) for kind, draw_ul, tests in (
        ("edta", 4000, ("a",)), ("edta", 2000, ("a",)), ("edta", 2000, ("b",)), ("edta-k3", 4000, ("a",)),
    )]  # fmt: skip
    assert keys == sorted(keys)
    assert sequence.rank("acd-a").order < sequence.rank("acd-b").order


@pytest.mark.parametrize(
    ("kind", "refused"),
    [
        ("trace-plain", "skin contaminates trace elements"),
        ("trace-edta", "skin contaminates trace elements"),
        ("citrate", "tissue fluid starts clotting"),
        ("serum", None),
        ("edta", None),
    ],
)
def test_a_skin_puncture_refuses_a_kind_by_its_use_alone_or_by_its_additive_alone(
    kind: str, refused: str | None
) -> None:
    found = Sequence(SHIPPED, "skin-puncture").refusal(SHIPPED.kinds[kind])
    assert (found is None) == (refused is None)
    assert refused is None or refused in (found or "")
    assert Sequence(SHIPPED, "straight-needle").refusal(SHIPPED.kinds[kind]) is None


def test_what_is_refused_by_its_additive_alone_is_refused_whatever_it_is_kept_for() -> None:
    kept = replace(SHIPPED.kinds["citrate"], use="blood-bank")
    assert Sequence(SHIPPED, "skin-puncture").refusal(kept) is not None
