"""The collector's sheet says all of the plan that the tray says, on numbered pages that each name the patient."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping

import msgspec
import pytest

from cubital.app.draws import dated, plan_order
from cubital.app.printing import find_stock, invented_collection, kept_tubes, labels_of, sheet_of
from cubital.app.tray import lay_tray
from cubital.app.wiring import open_site, read_order
from cubital.errors import PaperError
from cubital.facts.labels import PAPER_MM, PaperKey
from cubital.model import Order, Plan, Site
from cubital.model.identity import Collection
from tests.unit.paper.pdf import codes_of, inked_mm, sizes_of, words_of

DAY = datetime.date(2026, 11, 25)
PAPERS: tuple[PaperKey, ...] = ("a4", "letter")
USUAL = {"patient": {"age": "34 a", "weight_kg": 62}, "tests": ["PT", "K", "CBC"], "access": "winged-set"}
LARGE = {
    "patient": {"age": "68 a", "weight_kg": 62, "drawn_ml": 30}, "priority": "stat",
    "tests": ["PT", "BMP", "CBC", "TSH", "lactate", "blood culture", "type and screen"],
}  # fmt: skip
SMALL = {"patient": {"age": "10 d", "weight_kg": 2.4, "drawn_ml": 1}, "tests": ["BMP", "CBC", "blood culture"]}
SERIES = {"patient": {"age": "29 a", "weight_kg": 70}, "tests": ["glucose-tolerance-75-g", "CBC"]}


@pytest.fixture(scope="module")
def site() -> Site:
    return open_site(demo=True)


def planned(fields: Mapping[str, object], site: Site) -> tuple[Order, Plan]:
    order = dated(read_order(json.dumps(fields), today=DAY), DAY)
    return order, plan_order(order, site)


def sheet(fields: Mapping[str, object], site: Site, *, paper: PaperKey = "a4", is_named: bool = True) -> bytes:
    order, plan = planned(fields, site)
    who = invented_collection(plan, order, today=DAY) if is_named else None
    return sheet_of(plan, order, site, collection=who, paper=paper, today=DAY)


def squeezed(text: str) -> str:
    """The text without spaces, which a line end may take the place of."""
    return "".join(text.split())


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("fields", [USUAL, LARGE, SMALL], ids=["usual", "large", "small"])
def test_the_sheet_says_all_that_the_tray_says(fields: Mapping[str, object], paper: PaperKey, site: Site) -> None:
    order, plan = planned(fields, site)
    tray = lay_tray(plan, order, site)
    said = squeezed(" ".join(words_of(sheet(fields, site, paper=paper))))
    for text in (
        tray.headline, tray.total, tray.proof, *tray.stops, *tray.warnings, *tray.left_out, *tray.notes, *tray.always,
        "printed 2026-11-25", f"facts of {plan.edition}", plan.site,
    ):  # fmt: skip
        assert squeezed(text) in said, text
    for draw in tray.draws:
        for row in draw.rows:
            for text in (row.kind, row.additive, *row.contents, *row.care, row.mark):
                assert squeezed(text) in said, text


def test_a_usual_plan_is_one_page_and_every_tube_has_its_boxes_and_its_specimen(site: Site) -> None:
    pages = words_of(sheet(USUAL, site))
    assert len(pages) == 1
    said = pages[0]
    assert "page 1 of 1" in said
    assert said.count("labelled at the patient") == said.count("fill to here") == 3
    assert "discard 0.5 mL" in said
    assert "DISCARD: fill until blood flows into it, then throw away" in said
    assert "in a 1.8 mL tube" in said
    assert [f"specimen Q260040{number}" in said for number in (1, 2, 3, 4)] == [True, True, True, False]
    assert "inverted 5×" in said
    assert "5 % of the limit" in said
    for check in ("the patient says the full name", "the patient says the birth date", "both agree with request"):
        assert check in said


@pytest.mark.parametrize("paper", PAPERS)
def test_a_large_plan_goes_over_pages_that_are_numbered_and_each_name_the_patient(paper: PaperKey, site: Site) -> None:
    pdf = sheet(LARGE, site, paper=paper)
    pages = words_of(pdf)
    assert len(pages) == 2
    for number, said in enumerate(pages, start=1):
        assert f"page {number} of 2" in said
        assert "Invented, Ottoline" in said
        assert "X-000123" in said
    width, height = (float(side) for side in PAPER_MM[paper])
    for number, size in enumerate(sizes_of(pdf)):
        assert size == pytest.approx((width, height), abs=0.01)
        left, top, right, bottom = inked_mm(pdf, page=number)
        assert left >= 8
        assert top >= 8
        assert right <= width - 8
        assert bottom <= height - 8


def test_an_urgent_order_says_stat_at_every_tube_and_a_routine_one_nowhere(site: Site) -> None:
    assert " ".join(words_of(sheet(LARGE, site))).count("STAT") == len(planned(LARGE, site)[1].tubes)
    assert "STAT" not in " ".join(words_of(sheet(USUAL, site)))


def test_only_the_tubes_of_the_urgent_tests_say_stat(site: Site) -> None:
    fields = {"tests": [{"test": "BMP", "priority": "stat"}, "CBC", "PT"]}
    assert " ".join(words_of(sheet(fields, site))).count("STAT") == 1


def test_a_bottle_has_no_fill_line_and_says_how_much_to_put_in(site: Site) -> None:
    said = " ".join(words_of(sheet(LARGE, site)))
    assert said.count("put in: 10 mL") == 4
    assert said.count("fill to here") == 5


def test_without_a_patient_there_are_lines_to_write_on(site: Site) -> None:
    pages = words_of(sheet(LARGE, site, is_named=False))
    assert "Ottoline" not in " ".join(pages)
    assert "name" in pages[0]
    assert "born" in pages[0]
    assert "name ____" in pages[1]


def test_the_invented_patient_says_so_and_has_the_age_of_the_order(site: Site) -> None:
    said = words_of(sheet(SMALL, site))[0]
    assert "INVENTED, no real person" in said
    assert "born 2026-11-14" in said or "born 2026-11-15" in said


def test_where_no_limit_is_known_no_gauge_is_drawn_and_it_is_said(site: Site) -> None:
    said = words_of(sheet({"tests": ["K"]}, site))[0]
    assert "limit not known" in said
    assert "% of the limit" not in said


@pytest.mark.parametrize("fields", [USUAL, LARGE, SMALL, SERIES], ids=["usual", "large", "small", "series"])
def test_each_kept_tube_gets_one_label_that_is_read_back(fields: Mapping[str, object], site: Site) -> None:
    order, plan = planned(fields, site)
    who = invented_collection(plan, order, today=DAY)
    pages = codes_of(labels_of(plan, order, site, who, today=DAY))
    assert len(who.specimens) == len(kept_tubes(plan)) == len(pages) - 1
    assert [page[0] for page in pages[1:]] == [("Code128", number) for number in who.specimens]


def labels(fields: Mapping[str, object], site: Site, stock: str = "roll-50x25") -> list[str]:
    """The words of each label, the slip left out."""
    order, plan = planned(fields, site)
    who = invented_collection(plan, order, today=DAY)
    return words_of(labels_of(plan, order, site, who, stock=stock, today=DAY))[1:]


def test_the_labels_of_a_series_carry_its_minute(site: Site) -> None:
    fasting_count, fasting, after = labels(SERIES, site)
    assert "0 min" in fasting_count
    assert "0 min, fasting" in fasting
    assert "120 min" in after
    assert "draw" not in after


def test_the_labels_of_a_level_say_trough_or_peak_and_other_tubes_of_the_draw_do_not(site: Site) -> None:
    adult = {"age": "45 a", "weight_kg": 70}
    trough, count, peak = labels({"patient": adult, "tests": ["vancomycin-trough", "CBC", "vancomycin-peak"]}, site)
    assert "trough" in trough
    assert "draw 1" in count
    assert "trough" not in count
    assert "peak" in peak
    (alone,) = labels({"patient": adult, "tests": ["ciclosporin"]}, site)
    assert "C0, trough" in alone


def test_the_labels_of_two_sets_of_cultures_are_not_alike(site: Site) -> None:
    found = labels({"patient": {"age": "61 a", "weight_kg": 70}, "tests": ["blood culture"]}, site)
    assert ["culture set 1" in said for said in found] == [True, True, False, False]
    assert ["culture set 2" in said for said in found] == [False, False, True, True]


def test_what_is_asked_known_and_done_before_a_draw_stands_on_the_sheet_before_its_tubes(site: Site) -> None:
    fields = {
        "patient": {"age": "45 a", "weight_kg": 70}, "tests": ["group check", "group and screen", "vancomycin-trough"],
        "events": [{"what": "next-dose", "of": "vancomycin", "at": "2026-11-25T14:00+00:00"}],
    }  # fmt: skip
    order, plan = planned(fields, site)
    said = squeezed(" ".join(words_of(sheet(fields, site))))
    place = 0
    for draw in lay_tray(plan, order, site).draws:
        for text in (draw.title, *(one.text for one in draw.before), *(row.contents[0] for row in draw.rows)):
            assert squeezed(text) in said[place:], text
        place = said.index(squeezed(draw.title))
    assert squeezed("DUE 2026-11-25, ") in said
    assert said.count(squeezed("DO FIRST")) == sum(len(draw.steps) for draw in plan.draws) > 1


def test_the_other_plans_of_a_child_the_objective_and_the_reserve_stand_on_the_sheet(site: Site) -> None:
    fields = {"patient": {"age": "6 mo", "weight_kg": 6, "drawn_ml": 9}, "tests": ["PT", "CBC", "K"]}
    order, plan = planned(fields, site)
    tray = lay_tray(plan, order, site)
    said = squeezed(" ".join(words_of(sheet(fields, site))))
    assert tray.instead
    for text in (*(other.words for other in tray.instead), tray.aim, tray.reserve):
        assert squeezed(text) in said, text


def test_blood_that_clears_a_closed_line_is_given_back_on_the_sheet(site: Site) -> None:
    closed = msgspec.structs.replace(site, planning=msgspec.structs.replace(site.planning, line_discard="returned"))
    fields = {"tests": ["BMP"], "access": "line", "line": {"dead_space_ml": 1}}
    said = " ".join(words_of(sheet(fields, closed)))
    assert "give back" in said
    assert "given back" in said
    assert "thrown away" not in said.replace("a syringe that was taken off is thrown away", "")


def test_the_same_sheet_is_the_same_bytes_and_another_day_is_another(site: Site) -> None:
    order, plan = planned(USUAL, site)
    assert sheet(USUAL, site) == sheet(USUAL, site)
    later = sheet_of(plan, order, site, today=DAY + datetime.timedelta(days=1))
    assert later != sheet_of(plan, order, site, today=DAY)


def test_numbers_that_are_not_as_many_as_the_tubes_are_refused(site: Site) -> None:
    order, plan = planned(USUAL, site)
    who = invented_collection(plan, order, today=DAY)
    short = msgspec.structs.replace(who, specimens=who.specimens[:-1])
    with pytest.raises(PaperError, match="found 2 numbers of specimens; expected 3"):
        labels_of(plan, order, site, short, today=DAY)
    with pytest.raises(PaperError, match="found 2 numbers of specimens; expected 3"):
        sheet_of(plan, order, site, collection=short, today=DAY)


@pytest.mark.parametrize(
    ("born", "is_refused"),
    [
        (datetime.date(1992, 11, 25), False), (datetime.date(1991, 11, 26), False), (datetime.date(1991, 11, 20), True),
        (datetime.date(1992, 12, 1), True), (datetime.date(1958, 3, 2), True), (datetime.date(2027, 1, 1), True),
    ],
)  # fmt: skip
def test_a_birth_date_that_the_age_contradicts_is_refused(born: datetime.date, is_refused: bool, site: Site) -> None:
    order, plan = planned(USUAL, site)
    who = invented_collection(plan, order, today=DAY)
    other = Collection(identity=msgspec.structs.replace(who.identity, birth_date=born), specimens=who.specimens)
    if not is_refused:
        assert labels_of(plan, order, site, other, today=DAY)
        return
    with pytest.raises(PaperError) as refused:
        labels_of(plan, order, site, other, today=DAY)
    with pytest.raises(PaperError) as refused_too:
        sheet_of(plan, order, site, collection=other, today=DAY)
    assert refused.value.field == refused_too.value.field == "birth_date"
    assert str(born) not in f"{refused.value}{refused_too.value}"


def test_a_stock_that_nobody_defined_is_refused_with_those_there_are() -> None:
    with pytest.raises(PaperError, match="expected one of roll-50x25"):
        find_stock("roll-1x1")
