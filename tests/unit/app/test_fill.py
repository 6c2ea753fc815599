"""Fill at a site: altitude, line and least fill; what is asked and not guessed."""

from __future__ import annotations

import pytest

from cubital.app.fill import Conditions, altitude_curves, dead_of_tubing_ul, fill_report
from cubital.app.wiring import open_site
from cubital.errors import OrderError, UnitError

SITE = open_site()


def test_at_sea_level_every_evacuated_kind_is_full() -> None:
    found = fill_report([], SITE, Conditions())
    assert {fill for row in found.tubes for fill in row.fills} == {1.0}
    kinds = {row.kind for row in found.tubes}
    assert "citrate" in kinds
    assert not kinds & {"gas-syringe", "gas-capillary", "edta-micro"}


# C27 and the table of 5.1: at 1609 m and a share of 0.675 a tube gets 89.7 %, at 1500 m 90.45 %.
def test_a_citrate_tube_falls_under_its_least_fill_between_1500_and_1609_m() -> None:
    for altitude_m, fill in ((1500, 0.9045), (1609, 0.897)):
        row = fill_report(["citrate"], SITE, Conditions(altitude_m=altitude_m, gas_share=0.675)).tubes[0]
        assert list(row.fills) == pytest.approx([fill], abs=0.001)
        assert list(row.short_from_m) == pytest.approx([1563], abs=1)
        assert row.least_gas_share is not None
        assert (row.least_gas_share > 0.675) == (altitude_m == 1609)


@pytest.mark.parametrize(("share", "metres"), [(0.5, 797), (0.6, 1163), (0.675, 1563), (0.75, 2159), (0.9, 5096)])
def test_the_altitude_of_90_percent_is_that_of_the_table(share: float, metres: int) -> None:
    row = fill_report(["citrate"], SITE, Conditions(gas_share=share)).tubes[0]
    assert list(row.short_from_m) == pytest.approx([metres], abs=1)


def test_a_share_that_nobody_gave_is_not_guessed_but_shown_for_several() -> None:
    found = fill_report(["citrate"], SITE, Conditions(altitude_m=1500))
    assert not found.is_asked
    assert len(found.gas_shares) == len(found.tubes[0].fills) == 4
    assert any("not guessed" in note for note in found.notes)


# C32: the air of a winged set, 0.5 mL, off a 2.7 mL draw leaves 81.5 %, off 10 mL 95 %.
def test_the_first_tube_of_a_winged_set_loses_the_air_in_the_line() -> None:
    at = Conditions(gas_share=0.675, access="winged-set")
    found = fill_report(["citrate", "serum"], SITE, at)
    first = {(row.kind, row.draw_ul): row.first_fills[0] for row in found.tubes}
    assert first["citrate", 2700] == pytest.approx(0.815, abs=0.001)
    assert first["citrate", 1800] == pytest.approx(0.722, abs=0.001)
    assert first["serum", 10_000] == pytest.approx(0.95, abs=0.001)
    assert any(rule.needed and "citrate" in rule.when for rule in found.discards)


def test_a_straight_needle_takes_nothing_off_and_needs_no_discard() -> None:
    found = fill_report(["citrate"], SITE, Conditions(gas_share=0.675))
    assert all(row.fills == row.first_fills for row in found.tubes)
    assert found.discards[0].needed is False


# C33 and C34: 1 mL of dead space; twice of it for chemistry, six times where the lumen carried anticoagulant, none for
# a line suspected of infection.
def test_a_line_is_discarded_by_multiples_of_its_dead_space() -> None:
    found = fill_report(["citrate"], SITE, Conditions(access="line", dead_ul=1000))
    assert [(rule.needed, rule.volume_ul) for rule in found.discards] == [(True, 2000), (True, 6000), (False, 0)]


def test_the_dead_space_of_a_line_is_asked() -> None:
    with pytest.raises(OrderError, match="dead space of a catheter or line is not known"):
        fill_report(["citrate"], SITE, Conditions(access="line"))


# C05 and C07, and the table of 5.2: 109 mmol/L gives 10.9 in a full tube and 13.3 at 80 %.
def test_the_citrate_of_the_tube_rises_as_it_is_filled_less() -> None:
    full = fill_report(["citrate"], SITE, Conditions(gas_share=0.675)).tubes[0]
    assert list(full.citrate_mmol_per_l) == pytest.approx([10.9], abs=0.05)
    assert full.blood_to_citrate == (9.0,)
    high = fill_report(["citrate"], SITE, Conditions(gas_share=0.675, altitude_m=3000)).tubes[0]
    assert high.citrate_mmol_per_l[0] > 13
    assert fill_report(["edta"], SITE, Conditions()).tubes[0].citrate_mmol_per_l == ()


def test_a_warm_tube_draws_less() -> None:
    warm = fill_report(["citrate"], SITE, Conditions(gas_share=0.675, temperature_c=37)).tubes[0]
    assert warm.fills[0] == pytest.approx(0.972, abs=0.001)


def test_the_curves_fall_with_altitude_and_start_full() -> None:
    metres, curves = altitude_curves(fill_report(["citrate"], SITE, Conditions(gas_share=0.675)))
    ((_, fills),) = curves
    assert fills[0] == pytest.approx(1.0)
    assert fills == sorted(fills, reverse=True)
    assert len(metres) == len(fills)


def test_the_volume_of_a_tubing_is_that_of_its_bore() -> None:
    assert dead_of_tubing_ul(305, 1.45) == pytest.approx(504, abs=1)
    assert dead_of_tubing_ul(178, 1.45) == pytest.approx(294, abs=1)


@pytest.mark.parametrize(("length", "bore"), [(0, 1), (30.5, 0), (305, 14.5), (3050, 1.45)])
def test_what_is_no_tubing_is_refused(length: float, bore: float) -> None:
    with pytest.raises(UnitError, match="in mm"):
        dead_of_tubing_ul(length, bore)


@pytest.mark.parametrize(
    ("kinds", "conditions", "said"),
    [
        (["tea"], Conditions(), "expected a tube kind of this site"),
        ([], Conditions(access="straw"), "expected one of straight-needle"),
        (["citrate"], Conditions(access="winged-set", dead_ul=-1), "expected 0 to 20 mL"),
        (["citrate"], Conditions(access="winged-set", dead_ul=20_001), "expected 0 to 20 mL"),
    ],
)
def test_a_kind_an_access_or_a_volume_that_cannot_be_is_refused(
    kinds: list[str], conditions: Conditions, said: str
) -> None:
    with pytest.raises((OrderError, UnitError), match=said):
        fill_report(kinds, SITE, conditions)
