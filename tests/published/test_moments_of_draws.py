"""When blood of a level or a test of function is drawn, as pages and abstracts give it; each as it was seen.

Australian Prescriber (read): digoxin 6 h or more after the dose; one aminoglycoside level 6 to 14 h. A hospital guide
citing Baer and Dito 1981 (read): gentamicin 30 min, vancomycin 1.5 h after the infusion. Regional lists (read):
ciclosporin C2 at 1.8 to 2.2 h. A guideline page and a manual (read): acetaminophen 4 h or more. Pages on
low-molecular-weight heparin (read): 3 to 5 h. IADPSG by an obstetric page (second-hand): 0, 60, 120 min. A clinical
laboratory (read): gastrin at 0, 2, 5, 10, 15, 20 min after secretin. Int J Endocrinol 2022, 7360282 (read): insulin
tolerance at 0, 30, 45, 60, 90, 120 min. NICE NG126 by two pages (second-hand): hCG never before 48 h. Rev Esp Cardiol
2023;76:468 (abstract): troponin at 0 and 1 h. A national handbook and a blood service (read): a second sample for the
group.
"""

from __future__ import annotations

import pytest

from cubital import facts


@pytest.mark.parametrize(
    ("key", "hours"),
    [
        ("digoxin-level", (6, None)), ("gentamicin-one-level", (6, 14)), ("ciclosporin-2-h", (1.8, 2.2)),
        ("anti-xa-lmwh-peak", (3, 5)), ("acetaminophen-level", (4, None)),
    ],
)  # fmt: skip
def test_a_level_is_drawn_between_these_hours(key: str, hours: tuple[float, float | None]) -> None:
    moment = facts.moments()[key]
    assert (moment.from_min, moment.to_min) == tuple(None if h is None else round(60 * h) for h in hours)
    assert moment.marks[0].basis == "published"


@pytest.mark.parametrize(("key", "minutes"), [("gentamicin-peak", 30), ("vancomycin-peak", 90)])
def test_a_peak_is_drawn_in_the_middle_of_its_window(key: str, minutes: int) -> None:
    moment = facts.moments()[key]
    assert moment.from_min is not None
    assert moment.to_min is not None
    assert (moment.from_min + moment.to_min) / 2 == minutes


@pytest.mark.parametrize(
    ("key", "minutes"),
    [
        ("glucose-drink-pregnancy", (0, 60, 120)), ("secretin-gastrin", (0, 2, 5, 10, 15, 20)),
        ("insulin-tolerance", (0, 30, 45, 60, 90, 120)), ("troponin-0-1-h", (0, 60)),
    ],
)  # fmt: skip
def test_each_draw_of_a_series_is_around_its_minute(key: str, minutes: tuple[int, ...]) -> None:
    draws = facts.moments()[key].draws
    assert len(draws) == len(minutes)
    assert all(lo <= minute <= hi and hi - lo <= 20 for minute, (lo, hi) in zip(minutes, draws, strict=True))


def test_a_second_choriogonadotropin_is_never_drawn_before_48_h() -> None:
    assert facts.moments()["choriogonadotropin-48-h"].draws[1][0] == 48 * 60


def test_a_second_sample_for_the_group_is_never_of_the_first_draw() -> None:
    assert {"abo-rh-group", "type-and-screen"} <= set(facts.moments()["group-second-sample"].excludes)
