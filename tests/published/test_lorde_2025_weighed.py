"""Lorde, Gama, Kalaria. Citrate contamination of serum. Clin Chem Lab Med 2025;63:1383-1391 (abstract read), as the
whole program answers it.

Of serum with sodium from 148 mmol/L 3.1 % held citrate; a chloride up to 105 (specificity 93.4 %) or a gap of sodium
and chloride of 47 and more (95.3 %) misses none. Checks 12, 13 and 14. By these figures 3 of 10 samples that chloride
flags are contaminated, and 4 of 10 that the gap flags. 59 % were of dialysis, likely from locks of a catheter:
trisodium citrate of 4 to 47 %, which brings sodium and hardly thins.
"""

from __future__ import annotations

import pytest

from cubital.chemistry.additives import load_of, tube_plasma
from tests.published.weighed import PANEL, adult, holds, tainted, weigh

NATIVE = adult(sodium=140.0, potassium=4.2, chloride=102.0, calcium=2.35)
CITRATE_TUBE = tube_plasma(load_of("citrate-9-1"), 0.45)


def test_what_both_screens_exclude_is_excluded() -> None:
    found = weigh(NATIVE | {"sodium": 150.0, "chloride": 112.0}, *PANEL)
    assert found.probability("sodium-citrate") < 0.001


# Missed by the model, and told by the screens themselves beside it: both flag sodium 152 with chloride 103. Citrate of
# a tube or a lock gets under 1 %, where the screens' own figures make it 30 to 40 %. The model takes 1.9 % of clean
# samples to reach 148, with chloride up to 105 in 18 % of these; the study has 0.55 % and 6.6 %: wide on purpose, so
# that illness is not called contamination. And the study looked from 148 on only, where the model spreads a lock's
# shares from little to much.
@pytest.mark.parametrize("keys", [("sodium", "chloride", "potassium"), PANEL], ids=["three", "panel"])
def test_what_both_screens_flag_is_too_unlikely_by_thirty_points_and_not_called_nothing(keys: tuple[str, ...]) -> None:
    found = weigh(NATIVE | {"sodium": 152.0, "chloride": 103.0}, *keys)
    assert found.verdict == "cannot tell"
    assert 0.0005 < found.probability("sodium-citrate") < 0.05
    flagged, of_citrate = 0.031 + 0.969 * (1 - 0.953), 0.031
    assert of_citrate / flagged == pytest.approx(0.40, abs=0.01)


@pytest.mark.parametrize("share", [0.3, 0.5, 1.0])
def test_the_plasma_of_a_citrate_tube_is_suspected_with_its_share(share: float) -> None:
    found = weigh(tainted(NATIVE, CITRATE_TUBE, share), *PANEL)
    assert (found.verdict, found.redraw) == ("suspect", True)
    assert found.probability("sodium-citrate") > (0.6 if share == 0.3 else 0.9)
    assert holds(found, min(share, 0.99))
    assert not {"sodium", "chloride", "calcium"} & set(found.trusted)


# Missed: the screens' own least. A gap of 47 is 18.5 % of the plasma of a tube, their 1.5 mmol/L of citrate 8.2 %. Both
# are missed, with the results of the day before and without: sodium 145.8 and chloride 98.8 are many patients' own.
@pytest.mark.parametrize("has_earlier", [False, True])
def test_the_share_that_gives_a_gap_of_47_is_missed_though_citrate_is_ten_times_as_likely_as_before(
    has_earlier: bool,
) -> None:
    values, day_before = tainted(NATIVE, CITRATE_TUBE, 0.185), {key: NATIVE[key] for key in PANEL}
    found = weigh(values, *PANEL, earlier=day_before if has_earlier else None)
    assert found.verdict == "nothing found"
    assert 10 * 0.00017 < found.probability("sodium-citrate") < 0.05


def test_the_least_citrate_that_they_call_contamination_is_missed() -> None:
    values, day_before = tainted(NATIVE, CITRATE_TUBE, 0.082), {key: NATIVE[key] for key in PANEL}
    assert weigh(values, *PANEL, earlier=day_before).verdict == "nothing found"
    assert abs(values["sodium"] - 140.0) < 3
