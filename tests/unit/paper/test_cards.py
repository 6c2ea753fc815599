"""Wall cards say what the site and the facts say: the order its plans follow, the tubes its tests take, the bench."""

from __future__ import annotations

import datetime
import re
from functools import cache
from itertools import pairwise
from pathlib import Path

import msgspec
import numpy as np
import pypdfium2
import pytest

from cubital import facts
from cubital.app.wall_cards import CARDS, bench_rows, wall_card
from cubital.app.wiring import open_site
from cubital.errors import PaperError
from cubital.facts.labels import PAPER_MM, PaperKey
from cubital.model import Site
from cubital.paper.bench_card import BenchCard, BenchRow, BenchStep, lay_bench_card
from cubital.paper.flow import Imprint, print_sections
from cubital.paper.ink import WEAVES, draw_weave
from cubital.paper.surface import Corner, Document
from cubital.paper.tests_card import CardCap
from cubital.planning.sequence import Sequence
from tests.unit.paper.pdf import inked_mm, picture_of, sizes_of, words_of

DAY = datetime.date(2026, 11, 25)
PAPERS: tuple[PaperKey, ...] = ("a4", "letter")


@pytest.fixture(scope="module")
def site() -> Site:
    return open_site(demo=True)


@cache
def demo_card(which: str) -> bytes:
    """A card of the demo site on A4, made once."""
    return wall_card(which, open_site(demo=True), today=DAY)


def is_for_skin(site: Site, key: str) -> bool:
    return "skin-puncture" in (site.kinds[key].accesses or ())


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("which", CARDS)
@pytest.mark.parametrize("demo", [True, False])
def test_every_page_of_a_card_has_its_imprint_its_number_and_its_margins(
    which: str, paper: PaperKey, demo: bool
) -> None:
    here = open_site(demo=demo)
    pdf = wall_card(which, here, paper=paper, today=DAY)
    width, height = (float(side) for side in PAPER_MM[paper])
    for number, (said, size) in enumerate(zip(words_of(pdf), sizes_of(pdf), strict=True)):
        assert here.name in said
        assert f"printed 2026-11-25, facts of {facts.edition()}" in said
        assert re.search(r"page [0-9]+ of [0-9]+", said)
        assert "Decision support for trained staff" in said
        assert size == pytest.approx((width, height), abs=0.01)
        left, top, right, bottom = inked_mm(pdf, page=number)
        assert min(left, top, width - right, height - bottom) >= 8


def test_the_card_of_the_order_lists_every_stocked_kind_once_in_the_order_of_the_policy(site: Site) -> None:
    pages = words_of(demo_card("order"))
    assert len(pages) == 3
    venous = " ".join(pages[:2])
    for said, access, is_skin in ((venous, "straight-needle", False), (pages[2], "skin-puncture", True)):
        sequence = Sequence(site, access)
        kinds = [kind for kind in site.kinds.values() if is_for_skin(site, kind.key) == is_skin]
        kinds.sort(key=lambda kind: (*sequence.rank(kind.key).order, 0, 0, 0)[:5])
        places = [said.index(kind.name) for kind in kinds]
        assert places == sorted(places)
        for kind in kinds:
            assert f" {kind.mark} " in said
            assert kind.stopper is None or kind.stopper in said


def test_the_card_of_the_order_says_turns_letters_steps_and_what_they_rest_on(site: Site) -> None:
    said = words_of(demo_card("order"))[0]
    for words in (
        "by CLSI GP41", "standard: clsi-gp41 (read second-hand)", "[9NC]; pale blue, ribbed", "invert 5×",
        "do not invert", "royal blue; house rule", "not by needle and holder", "citrate for coagulation",
    ):  # fmt: skip
        assert words in said, words


def test_a_kind_that_nobody_placed_is_named_and_to_be_asked_about(site: Site) -> None:
    planning = msgspec.structs.replace(site.planning, placings=())
    said = words_of(wall_card("order", msgspec.structs.replace(site, planning=planning), today=DAY))[0]
    place = said.index("No place in this order: ")
    for key in ("trace-plain", "trace-edta", "citrate-sedimentation", "acd-a"):
        assert site.kinds[key].name in said[place:]
    assert "Ask before drawing" in said[place:]


def test_a_kind_out_of_date_stands_on_no_card(site: Site) -> None:
    late = datetime.date(2038, 12, 1)
    assert "sterile SPS" in words_of(demo_card("order"))[0]
    for which in ("order", "tests"):
        assert "sterile SPS" not in " ".join(words_of(wall_card(which, site, today=late)))


def test_a_site_without_a_usable_tube_has_no_order_to_hang_up(site: Site) -> None:
    with pytest.raises(PaperError, match="no tube in stock"):
        wall_card("order", site, today=datetime.date(2050, 1, 1))


def test_the_card_of_tests_lists_every_test_with_its_kinds_in_order_of_preference(site: Site) -> None:
    said = " ".join(words_of(demo_card("tests")))
    for test in site.tests.values():
        assert "".join((site.names.get(test.key) or test.name).split()) in "".join(said.split()), test.name
    potassium = said[said.index("potassium plasma or serum") :][:200]
    marks = [site.kinds[key].mark for key in ("heparin-gel", "heparin", "serum-gel")]
    places = [potassium.index(f" {mark} ") for mark in marks]
    assert places == sorted(places)
    assert "by skin puncture MH or MS" in potassium


def test_every_kind_that_a_test_accepts_is_on_its_line_however_many(site: Site) -> None:
    said = " ".join(words_of(demo_card("tests")))
    line = said[said.index("beta-hydroxybutyrate") :][:160]
    kinds = {key for accept in site.tests["beta-hydroxybutyrate"].accepts for key in accept.tubes if key in site.kinds}
    assert len(kinds) > 6
    for key in kinds:
        assert re.search(rf"\b{site.kinds[key].mark}\b", line), key


def test_a_test_that_no_stocked_tube_serves_says_so(site: Site) -> None:
    kinds = {key: kind for key, kind in site.kinds.items() if key != "lead"}
    without = msgspec.structs.replace(
        site, kinds={k: v for k, v in kinds.items() if not k.startswith(("citrate", "trace"))}
    )
    said = " ".join(words_of(wall_card("tests", without, today=DAY)))
    assert "prothrombin time NO TUBE FOR IT IN STOCK" in said


def test_the_card_of_the_bench_says_clot_spin_and_separate_by_kind(site: Site) -> None:
    said = " ".join(words_of(demo_card("bench")))
    for words in (
        "SERUM: CLOT 30 min upright, at most 2 h", "PLASMA: SPIN 1500 g, 15 min, 18-25 C", "WHOLE BLOOD: DO NOT SPIN",
        "the gel does it: look for a whole barrier", "Put the tube in ice slurry at once.",
    ):  # fmt: skip
        assert words in said, words
    assert "WHOLE BLOOD: DO NOT SPIN erythrocyte sedimentation rate" in said


def test_a_ban_on_spinning_stands_beside_the_spin_with_an_or_and_no_arrow() -> None:
    """Two cards that differ only in whether the spin is instead of the ban: one has the word, the other an arrow."""

    def card(*, is_instead: bool) -> bytes:
        imprint = Imprint(title="t", site="s", edition="e", on=DAY, cautions=("c",))
        row = BenchRow(
            cap=CardCap(mark="E2", family="edta", stopper="violet", name="EDTA"),
            steps=(
                BenchStep(verb="WHOLE BLOOD: DO NOT SPIN", how="", is_ban=True),
                BenchStep(verb="PLASMA: SPIN", how="", is_instead=is_instead),
            ),
        )
        bench = BenchCard(imprint=imprint, rows=(row,), care=(), keep_imprint=imprint, keep=())
        return print_sections(lay_bench_card(bench, "a4")[:1], "a4")

    beside, after = card(is_instead=True), card(is_instead=False)
    assert re.search(r"\bor\b", words_of(beside)[0])
    assert not re.search(r"\bor\b", words_of(after)[0])
    pictures = [picture_of(pypdfium2.PdfDocument(pdf)[0]) < 128 for pdf in (beside, after)]
    assert pictures[1].sum() > pictures[0].sum()


def test_every_clot_or_spin_next_to_whole_blood_is_said_to_be_instead_of_it(site: Site) -> None:
    beside = 0
    for row in bench_rows(site, DAY):
        assert not row.steps[0].is_instead
        for before, step in pairwise(row.steps):
            assert step.is_instead == before.verb.startswith("WHOLE BLOOD"), row
            beside += step.is_instead
    assert beside >= 4


def test_the_times_that_things_keep_are_those_of_the_facts_and_what_is_not_known_is_a_question_mark(site: Site) -> None:
    said = " ".join(words_of(demo_card("bench")))
    keeps = facts.stability()["gastrin"]
    assert (keeps.separate_within_min, keeps.ambient_min, keeps.refrigerated_min, keeps.frozen_d) == (15, 120, 0, 30)
    assert "gastrin 15 min 2 h no 30 d" in said
    assert "crossmatch" not in facts.stability()
    assert "crossmatch ? ? ? ?" in said
    assert "complete blood count not spun" in said


def test_the_same_card_is_the_same_bytes_and_another_card_is_refused(site: Site) -> None:
    assert wall_card("order", site, today=DAY) == demo_card("order")
    with pytest.raises(PaperError, match="expected one of order, tests, bench"):
        wall_card("calendar", site, today=DAY)


def test_the_weaves_of_families_differ_in_black_and_white() -> None:
    pictures: dict[str, np.ndarray] = {}
    for family, weave in WEAVES.items():
        document = Document(title="weave", subject="")
        draw_weave(document.page(10, 12), Corner(1, 1, 3.2, 9), family)
        page = pypdfium2.PdfDocument(document.finish())[0]
        pictures.setdefault(weave, picture_of(page) < 128)
    names = sorted(pictures)
    assert len(names) == 8
    for first in names:
        for second in names:
            if first < second:
                assert np.mean(pictures[first] != pictures[second]) > 0.01, (first, second)


def test_kinds_that_share_a_stopper_are_told_apart_by_letters_or_collar(site: Site) -> None:
    for one in site.kinds.values():
        for other in site.kinds.values():
            if one.key < other.key and one.stopper is not None and one.stopper == other.stopper:
                assert one.mark != other.mark, (one.key, other.key)


def test_a_site_of_one_kind_still_has_all_cards(tmp_path: Path) -> None:
    site = open_site()
    kinds = {"edta": site.kinds["edta"]}
    tests = {"complete-blood-count": site.tests["complete-blood-count"]}
    small = msgspec.structs.replace(site, kinds=kinds, tests=tests, panels={})
    for which in CARDS:
        (tmp_path / which).write_bytes(wall_card(which, small, today=DAY))
        assert words_of((tmp_path / which).read_bytes())
