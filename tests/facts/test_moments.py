"""The shipped moments hang together with the tests and panels that are drawn by them."""

from __future__ import annotations

import pytest

from cubital import facts
from cubital.facts.keeping import timings

TESTS, PANELS = facts.tests_table(), facts.panels_table()


def test_what_a_moment_excludes_is_a_moment_or_a_test() -> None:
    for key, moment in facts.moments().items():
        assert set(moment.excludes) <= {*facts.moments(), *TESTS}, key
        assert key not in moment.excludes, key


def test_every_test_that_says_a_moment_says_its_time_in_words_too() -> None:
    assert [k for k, test in TESTS.items() if "moment" in test and "timed" not in test] == []
    # An artery is no time: that moment only keeps arterial and venous gases in draws of their own.
    moment = facts.moments()["arterial-blood"]
    assert (moment.from_min, moment.to_min, moment.ask) == (None, None, ())


def test_every_test_with_a_time_in_words_has_a_moment() -> None:
    assert [key for key, test in TESTS.items() if "timed" in test and "moment" not in test] == []


def test_a_panel_that_a_series_names_is_drawn_within_the_windows_of_that_series() -> None:
    named = facts.series_moments()
    assert len(named) >= 55
    for key, moment in named.items():
        steps = [step["at_min"] for step in PANELS[key]["series"]]
        assert len(steps) == len(moment.draws), key
        assert all(lo <= minute <= hi for minute, (lo, hi) in zip(steps, moment.draws, strict=True)), key


def test_a_panel_counts_from_what_its_series_counts_from() -> None:
    for key, moment in facts.series_moments().items():
        counted = (PANELS[key].get("anchor", "first-draw"), PANELS[key].get("of"))
        assert counted == (moment.anchor, moment.of), key


def test_every_series_of_the_directory_has_its_windows() -> None:
    series = {key for key, panel in PANELS.items() if "series" in panel}
    # A trough and a peak have the windows of their own moments.
    assert series - set(facts.series_moments()) == {"gentamicin-trough-and-peak"}


def test_trough_and_peak_of_one_drug_exclude_each_other() -> None:
    for drug in ("vancomycin", "gentamicin"):
        trough, peak = (facts.moments()[f"{drug}-{which}"] for which in ("trough", "peak"))
        assert peak.excludes == (f"{drug}-trough",)
        assert trough.excludes == (f"{drug}-peak",)
        assert trough.is_before
        assert not peak.is_before


def test_a_time_after_a_dose_at_the_bench_is_the_moment_of_the_test() -> None:
    assert set(timings()) == {
        "digoxin", "lithium", "anti-xa-low-molecular-weight-heparin", "acetaminophen", "vancomycin-peak",
        "gentamicin-peak", "anti-xa-fondaparinux", "clozapine", "amitriptyline", "flecainide",
        "cortisol-after-dexamethasone", "amikacin-peak", "tobramycin-peak",
    }  # fmt: skip
    for test, timing in timings().items():
        moment = facts.moments()[TESTS[test]["moment"]]
        assert (timing.after, timing.from_min, timing.to_min) == (moment.anchor, moment.from_min, moment.to_min), test
        assert (timing.outcome, timing.mark) == (moment.outcome, moment.marks[0]), test


@pytest.mark.parametrize(
    ("test", "from_min", "to_min", "outcome"),
    [
        ("digoxin", 360, None, "refuse"), ("lithium", 600, 840, "comment"), ("acetaminophen", 240, None, "comment"),
        ("anti-xa-low-molecular-weight-heparin", 180, 300, "comment"), ("vancomycin-peak", 60, 120, "comment"),
        ("gentamicin-peak", 25, 35, "comment"),
    ],
)  # fmt: skip
def test_the_bench_reads_a_level_against_these_minutes(
    test: str, from_min: int, to_min: int | None, outcome: str
) -> None:
    found = timings()[test]
    assert (found.from_min, found.to_min, found.outcome) == (from_min, to_min, outcome)


def test_only_next_events_may_always_lie_ahead() -> None:
    assert {key for key, anchor in facts.anchors().items() if anchor.ahead == "always"} == {"next-dose", "next-period"}


def test_two_subjects_do_not_go_by_one_name() -> None:
    seen: dict[str, str] = {}
    for key, subject in facts.subjects().items():
        for name in {key, subject.name, *subject.also}:
            folded = " ".join(name.casefold().replace("-", " ").split())
            assert seen.setdefault(folded, key) == key, name
