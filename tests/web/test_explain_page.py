"""The Explain page without a browser: its numbers are those of the use cases, its knobs have bounds."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from cubital.app.order_matrix import order_matrix
from cubital.model import Site
from cubital.web.line_plot import Axes, line_plot
from tests.web.conftest import Browser

PARTIAL = {"hx-request": "true"}


def test_the_page_shows_every_section_and_its_sources(collector: Browser) -> None:
    collector.get("/explain")
    assert collector.status == 200
    for words in ("The order of draw, in numbers", "Carry-over", "Fill and altitude", "Citrate and hematocrit"):
        assert words in collector.text
    assert collector.text.count('<details class="sources" open>') == 4
    assert "cadamuro-2015" in collector.text or "icsh-1993" in collector.text


def test_the_table_of_harms_is_that_of_the_derived_order(collector: Browser, demo: Site) -> None:
    found = order_matrix(demo, carried_ul=50)
    collector.get("/explain/order?order_ul=50", **PARTIAL)
    marks = re.findall(r'<th scope="col"><abbr title="[^"]*">([^<]*)</abbr>', collector.text)
    assert marks == [mark for _, mark, _ in found.marks]
    shown = [float(text) for text in re.findall(r"<small>([^<]*)</small>", collector.text)]
    shares = [cell.share for row in found.rows for cell in row if cell is not None and cell.share >= 0.005]
    assert shown == [float(f"{share:.2g}") for share in shares]


def test_edta_in_serum_is_shown_with_potassium_first(collector: Browser) -> None:
    collector.get("/explain/carry-over?from=edta&into=serum&carried_ul=100", **PARTIAL)
    assert "<b>A</b> potassium" in collector.text
    assert "<polyline" in collector.text


def test_citrate_is_taken_out_over_the_threshold_only(collector: Browser) -> None:
    collector.get("/explain/citrate?hematocrit_percent=60&blood_ml=2.7", **PARTIAL)
    assert "Take out 100 uL of citrate" in collector.text
    collector.get("/explain/citrate?hematocrit_percent=55&blood_ml=2.7", **PARTIAL)
    assert "Not adjusted" in collector.text


@pytest.mark.parametrize(
    "path",
    [
        "/explain/order?order_ul=0", "/explain/order?order_ul=201", "/explain/order?order_ul=many",
        "/explain/order?order_ul=nan", "/explain/carry-over?from=nothing", "/explain/carry-over?carried_ul=-1",
        "/explain/carry-over?carried_ul=1e99", "/explain/fill?altitude_m=-1", "/explain/fill?altitude_m=5001",
        "/explain/citrate?hematocrit_percent=81", "/explain/citrate?blood_ml=0", "/explain/citrate?blood_ml=inf",
    ],
)  # fmt: skip
def test_what_is_out_of_bounds_is_refused_in_words_in_its_section(collector: Browser, path: str) -> None:
    collector.get(path, **PARTIAL)
    assert collector.status == 200
    assert 'class="refusal" role="alert"' in collector.text
    assert collector.get(path).status == 200


def test_without_scripts_a_section_comes_with_the_whole_page(collector: Browser) -> None:
    collector.get("/explain/fill?altitude_m=3000")
    assert "<html" in collector.text
    assert "at 3000 m" in collector.text


@pytest.mark.parametrize("about", ["citrate", "k2-edta", "clsi-gp41", "winged-set", "safety", "hospital-2-5-percent"])
def test_why_is_told_of_a_tube_an_additive_an_order_an_access_and_a_limit(collector: Browser, about: str) -> None:
    collector.get(f"/explain/why?about={about}")
    assert collector.status == 200
    assert "statements" in collector.text


def test_why_of_nothing_known_says_so(collector: Browser) -> None:
    assert collector.get("/explain/why?about=<b>").status == 404
    assert "Nothing goes by this key here" in collector.text


def test_a_curve_is_cut_off_at_the_edge_and_its_letters_stand_apart() -> None:
    axes = Axes(key="k", title="t", x_words="x", y_words="y", x=(0, 1), y=(-1, 1))
    plot = line_plot(axes, [0, 1], [("one", [0, 9]), ("two", [0, 9]), ("three", [0, -9])])
    assert [line.letter for line in plot.lines] == ["A", "B", "C"]
    ends = sorted(line.end_y for line in plot.lines)
    assert all(b - a >= 17 for a, b in pairwise(ends))
    assert plot.lines[0].points.split(",")[-1] == "14"
    assert plot.lines[2].points.split(",")[-1] == "328"
