"""Kinds that would be too late for a test on the day of its draw, at the shipped facts; both sides of each edge."""

from __future__ import annotations

import pytest

from cubital.model import Reason, Test
from cubital.model.vocabulary import WindowsKey
from cubital.planning.windows import why_too_late, words_all_too_late
from tests.published.shipped import SHIPPED

SERUM = ("serum-gel", "serum", "serum-glass")


def why(test: str, kind: str, travel_min: int | None, windows: WindowsKey = "strict") -> Reason | None:
    """The answer for a shipped test in a shipped kind, by the first matrix that the test accepts of it."""
    matrix = next(way.matrix for way in SHIPPED.tests[test].accepts if kind in way.tubes)
    return why_too_late(SHIPPED.tests[test], SHIPPED.kinds[kind], matrix, travel_min=travel_min, windows=windows)


@pytest.mark.parametrize("test", ["insulin", "c-peptide", "glucose"])
@pytest.mark.parametrize("kind", SERUM)
@pytest.mark.parametrize("windows", ["strict", "extended"])
def test_serum_that_must_clot_before_its_spin_is_too_late_even_at_the_bench(
    test: str, kind: str, windows: WindowsKey
) -> None:
    # Clot of 30 or 60 min and a spin of 10 (CLSI GP44, memory) against 30 min: WHO 2002 and the American guideline of
    # 2011 for glucose, memory for insulin and C-peptide.
    assert why(test, kind, 0, windows) is not None


@pytest.mark.parametrize(("test", "kind"), [("insulin", "edta"), ("c-peptide", "edta"), ("glucose", "heparin-gel")])
def test_plasma_is_in_time_to_the_minute_at_which_its_spin_still_ends_within_the_window(test: str, kind: str) -> None:
    # The same 30 min, and 10 of spin.
    assert why(test, kind, 20) is None
    assert why(test, kind, 21) is not None


def test_thrombin_serum_clots_in_time_for_glucose() -> None:
    # 5 min to clot (memory).
    assert why("glucose", "thrombin", 20) is None
    assert why("glucose", "thrombin", 21) is not None


def test_glucose_45_minutes_from_the_bench_is_lost_in_gel_and_kept_in_fluoride_where_the_site_extends() -> None:
    # Fluoride: steady to 3 d after a first fall, Clin Chem 1989;35:315-317 (abstract read).
    assert why("glucose", "heparin-gel", 45, "extended") is not None
    assert why("glucose", "serum-gel", 45, "extended") is not None
    assert why("glucose", "fluoride-oxalate", 45, "extended") is None
    assert why("glucose", "fluoride-oxalate", 4320 - 10, "extended") is None
    assert why("glucose", "fluoride-oxalate", 4320 - 9, "extended") is not None


def test_strict_windows_count_30_minutes_for_glucose_in_fluoride_too() -> None:
    # It acts late: the American guideline of 2011, memory.
    assert why("glucose", "fluoride-oxalate", 20) is None
    assert why("glucose", "fluoride-oxalate", 45) is not None


def test_ammonia_in_edta_is_judged_on_ice() -> None:
    # 15 min on ice (WHO 2002, memory); a study found 30 to hold, Hester 2015 (abstract read). A cold spin of 10.
    assert why("ammonia", "edta", 5) is None
    late = why("ammonia", "edta", 6)
    assert late is not None
    assert "on ice" in late.text
    assert why("ammonia", "edta", 20, "extended") is None
    assert why("ammonia", "edta", 21, "extended") is not None


def test_lactate_keeps_on_ice_a_day_in_fluoride_and_an_hour_in_heparin_where_the_site_extends() -> None:
    # Astles 1994, Clin Chem 40:1327 (digest read); Scand J Clin Lab Invest 2003;63:311 (abstract read).
    assert why("lactate", "fluoride-oxalate", 1430, "extended") is None
    assert why("lactate", "fluoride-oxalate", 1431, "extended") is not None
    assert why("lactate", "heparin", 50, "extended") is None
    assert why("lactate", "heparin", 51, "extended") is not None


def test_strict_windows_count_15_minutes_for_lactate_in_any_tube() -> None:
    # Memory: spun at once.
    assert why("lactate", "fluoride-oxalate", 5) is None
    assert why("lactate", "fluoride-oxalate", 6) is not None


def test_serum_on_ice_still_has_to_clot() -> None:
    # Calcitonin: 30 min on ice (memory).
    assert why("calcitonin", "serum", 0) is not None
    assert why("calcitonin", "heparin", 20) is None


def test_clotting_goes_on_under_way_and_is_not_counted_twice() -> None:
    # Creatinine: 2 h on the cells (a directory, read). Gel serum clots in 30 min, so only the way and the spin count.
    assert why("creatinine", "serum-gel", 110) is None
    late = why("creatinine", "serum-gel", 111)
    assert late is not None
    assert "121 min after the draw at the earliest (111 min on the way, 10 min of spin)" in late.text
    assert late.sources == ("utah-directory", "clsi-gp44")


def test_serum_that_clots_for_an_hour_waits_for_that_hour_and_the_reason_says_so() -> None:
    late = why("insulin", "serum-glass", 25)
    assert late is not None
    assert "(60 min to clot, 10 min of spin)" in late.text
    assert late.basis == "memory"


def test_whole_blood_waits_for_no_spin() -> None:
    # Ionized calcium: 30 min (WHO 2002, memory).
    assert why("ionized-calcium", "gas-syringe", 30) is None
    late = why("ionized-calcium", "gas-syringe", 31)
    assert late is not None
    assert "at the bench 31 min after the draw" in late.text


def test_potassium_in_whole_blood_stands_on_its_cells_and_is_not_spun() -> None:
    # As a gas analyzer measures it: 2 h on the cells (WHO 2002, memory).
    potassium, syringe = SHIPPED.tests["potassium"], SHIPPED.kinds["gas-syringe"]
    assert why_too_late(potassium, syringe, "whole-blood", travel_min=120, windows="strict") is None
    late = why_too_late(potassium, syringe, "whole-blood", travel_min=121, windows="strict")
    assert late is not None
    assert "on its cells at room temperature it keeps 120 min" in late.text


def test_a_study_lengthens_the_window_only_where_the_site_extends() -> None:
    # aPTT: 4 h from the draw (CLSI H21), 8 h unspun in 144 patients (Toulon 2017, read); a spin of 15 min.
    test = "activated-partial-thromboplastin-time"
    assert why(test, "citrate", 240 - 15) is None
    assert why(test, "citrate", 240 - 14) is not None
    assert why(test, "citrate", 480 - 15, "extended") is None
    assert why(test, "citrate", 480 - 14, "extended") is not None


def test_nothing_held_reaches_a_time_by_which_another_study_found_it_to_fail() -> None:
    # Magnesium in heparin: out of its limits by 24 h (Dupuy 2018, abstract read).
    assert why("magnesium", "heparin", 1439 - 10, "extended") is None
    assert why("magnesium", "heparin", 1440 - 10, "extended") is not None


def test_a_travel_time_that_is_not_known_rules_nothing_out() -> None:
    assert why("insulin", "serum-gel", None) is None


def test_a_test_of_which_no_source_speaks_is_never_too_late() -> None:
    unknown = Test(key="invented", name="invented", bench="bench")
    assert why_too_late(unknown, SHIPPED.kinds["serum-gel"], "serum", travel_min=1440, windows="strict") is None


def test_the_words_for_a_test_that_every_kind_would_lose_name_it_and_the_way() -> None:
    assert words_all_too_late(SHIPPED.tests["insulin"], 25).startswith("insulin: with 25 min on the way every kind")
