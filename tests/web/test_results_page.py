"""The Results page without a browser: what it takes, what it shows, what it refuses. All results are invented."""

from __future__ import annotations

import html
import json
import re

import pytest
from starlette.applications import Starlette

from cubital.web.results_page import EXAMPLE, MOST_FILE_BYTES
from tests.web.conftest import Browser

PARTIAL = {"hx-request": "true"}
PANEL = EXAMPLE["results"]
FORM = {name: value for name, value in EXAMPLE.items() if value}


def text_of(browser: Browser) -> str:
    """The words of the page, one space between."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", browser.text)).split())


@pytest.fixture
def processor(browser: Browser) -> Browser:
    """A processor's browser on the Results page."""
    browser.sign_in("processor").get("/results")
    assert browser.status == 200
    return browser


def send_file(browser: Browser, data: bytes, name: str = "panel.csv") -> Browser:
    response = browser.client.post("/results", data={"token": browser.token}, files={"file": (name, data)})
    return browser._saw(response)


def test_the_verdict_stands_first_in_words_then_likelihoods_then_each_result(processor: Browser) -> None:
    processor.post("/results", FORM)
    said = text_of(processor)
    places = [
        said.index(words)
        for words in (
            "Suspect: K2 EDTA", "Draw again before acting", "How likely", "How much, if it is K2 EDTA", "Each result",
            "Why", "This supports review by trained staff",
        )
    ]
    assert places == sorted(places)
    assert said.count("✕ not trusted") == 5
    assert re.search(r"potassium ✕ not trusted 6\.2 mmol/L 4\.\d+ mmol/L", said)
    assert "sodium ✓ trusted 139 mmol/L about the same" in said
    assert "What this rests on" in said
    assert "davidson-2002" in said


def test_every_bar_has_its_words_and_a_weave_beside_its_colour(processor: Browser) -> None:
    processor.post("/results", FORM)
    bar = r'<span class="cause">(.*?)</span>.*?</svg>\s*<b class="words-of">(.*?)</b>'
    bars = re.findall(bar, processor.text, re.S)
    assert [name for name, _ in bars][:2] == ["K2 EDTA", "K3 EDTA"]
    assert all(words for _, words in bars)
    assert processor.text.count('fill="url(#w-dots)"') >= 2


def test_what_was_typed_stays_and_only_the_answer_is_sent_where_only_it_was_asked(processor: Browser) -> None:
    processor.post("/results", {**FORM, "tube": "heparin-gel", "sex": "female"})
    assert html.escape(PANEL) in processor.text
    assert re.search(r'value="heparin-gel" selected', processor.text)
    assert 'value="0.1"' in processor.text
    processor.post("/results", FORM, **PARTIAL)
    assert "<html" not in processor.text
    assert 'id="said"' in processor.text
    assert "<textarea" not in processor.text


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Na 139 mEq/L", "found the unit 'mEq/L'; expected a UCUM unit of concentration; write meq/L"),
        ("Na 139", "expected a UCUM unit"),
        ("Na 139 mmHg", "expected a UCUM unit"),
        ("Na 1390 mmol/L", "5 to 400 mmol/L"),
        ("Na 139,5 mmol/L", "write 139.5"),
        ("K 6.3 mmol/L", "another than on line 1"),
    ],
)
def test_a_line_that_is_not_sound_is_refused_beside_it_and_nothing_is_weighed(
    processor: Browser, line: str, said: str
) -> None:
    processor.post("/results", {"results": f"K 6.2 mmol/L\n{line}\nCa 2.0 mmol/L"}, **PARTIAL)
    found = re.search(r'<li class="wrong">(.*?)</li>', processor.text, re.S)
    assert found is not None
    beside = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", found[1])).split())
    assert beside.startswith(f"Line 2 {line}")
    assert said in beside
    assert "Not weighed: 1 line to correct" in text_of(processor)
    assert "How likely" not in processor.text


def test_an_unknown_test_is_said_beside_its_line_and_the_rest_is_weighed(processor: Browser) -> None:
    processor.post("/results", {"results": f"{PANEL}\ntroponin 3 ng/L"}, **PARTIAL)
    assert "Suspect: K2 EDTA" in text_of(processor)
    assert 'Not used: "troponin" is not an analyte known here and takes no part' in text_of(processor)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"hemolysis_g_l": "much"}, "index of hemolysis: found 'much'; expected a number"),
        ({"hemolysis_g_l": "300"}, "0 to 200"),
        ({"hours_before": "-3", "earlier": "K 4 mmol/L"}, "hours over 0"),
        ({"hours_before": "1e9", "earlier": "K 4 mmol/L"}, "hours over 0"),
        ({"earlier": "K 4 mmol/L"}, "how long before"),
        ({"tube": "bucket"}, "expected a tube kind"),
        ({"age": "forty"}, "UCUM unit of age"),
        ({"sex": "both"}, "expected one of female, male"),
    ],
)
def test_what_cannot_be_is_refused_in_words(processor: Browser, form: dict[str, str], said: str) -> None:
    processor.post("/results", {"results": "K 4.2 mmol/L\nNa 140 mmol/L", **form}, **PARTIAL)
    assert processor.status == 200
    assert said in text_of(processor)
    assert "How likely" not in processor.text


def test_the_example_fills_the_form_and_is_called_invented(processor: Browser) -> None:
    processor.post("/results", {"example": "1"})
    assert "Invented. These results are no patient's" in text_of(processor)
    assert html.escape(PANEL) in processor.text
    assert "Suspect: K2 EDTA" in text_of(processor)
    processor.post("/results", FORM)
    assert "Invented." not in processor.text


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("panel.csv", b"sample,code,value,unit\nA,K,6.2,mmol/L\nA,Ca,2.0,mmol/L\nA,Mg,0.4,mmol/L\nB,Na,140,mmol/L\n"),
        (
            "panel.json",
            json.dumps(
                [
                    {"id": "A", "results": [{"code": "K", "value": 6.2, "unit": "mmol/L"},
                                            {"code": "Ca", "value": 2.0, "unit": "mmol/L"},
                                            {"code": "Mg", "value": 0.4, "unit": "mmol/L"}]},
                    {"id": "B", "results": [{"code": "Na", "value": 140, "unit": "mmol/L"}]},
                ]
            ).encode(),
        ),
    ],
)  # fmt: skip
def test_a_file_of_two_samples_is_answered_sample_by_sample(processor: Browser, name: str, data: bytes) -> None:
    send_file(processor, data, name)
    said = text_of(processor)
    assert "2 samples" in said
    assert re.findall(r'<article id="(sample-\d)" class="sample" aria-label="(\w)"', processor.text) == [
        ("sample-1", "A"), ("sample-2", "B"),
    ]  # fmt: skip
    assert 'href="#sample-2"' in processor.text


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"code,value,unit\nK,4.2,mEq/L\n", "line 2.unit"),
        (b"", "found nothing"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"PK\x03\x04 a workbook", "column"),
        (b"code,value,unit\n" + b"K,4.2,mmol/L\n" * (MOST_FILE_BYTES // 13 + 1), f"at most {MOST_FILE_BYTES}"),
        (json.dumps([{"results": [{"code": "K", "value": 4, "unit": "mmol/L"}]}] * 51).encode(), "at most 50"),
    ],
    ids=["unit", "empty", "not text", "workbook", "large", "many"],
)
def test_a_file_that_cannot_be_weighed_is_refused_in_words(processor: Browser, data: bytes, said: str) -> None:
    send_file(processor, data)
    assert processor.status == 200
    assert said in text_of(processor)
    assert "How likely" not in processor.text


def test_a_file_far_over_the_bound_is_refused_at_the_door(processor: Browser) -> None:
    send_file(processor, b"x" * (2 * MOST_FILE_BYTES))
    assert processor.status == 413


def test_nothing_of_a_panel_stands_in_an_address_a_log_or_the_trail(
    browser: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    browser.sign_in("supervisor").get("/results")
    # More digits than any time of day in the trail has, so that none is met by chance.
    secret = {"results": "K 6.2718281 mmol/L\nNa 141 mmol/L", "earlier": "K 4.3 mmol/L 24 h", "age": "61"}
    browser.post("/results", secret)
    assert browser.path == "/results"
    assert browser.headers["cache-control"] == "no-store"
    assert 'method="get"' not in browser.text
    assert "6.2718281" not in caplog.text
    browser.get("/trail")
    assert "opened results" in browser.text
    assert "6.2718281" not in browser.text
    assert "potassium" not in browser.text


def test_what_was_typed_is_shown_as_words_and_never_as_markup(processor: Browser) -> None:
    processor.post("/results", {"results": "<script>alert(1)</script> 4 mmol/L\nK 4.2 mmol/L <b>"})
    assert "<script>alert" not in processor.text
    assert "&lt;script&gt;" in processor.text
    send_file(processor, b"sample,code,value,unit\n<b>S</b>,K,4.2,mmol/L\n<b>S</b>,Na,140,mmol/L\n")
    assert "<b>S</b>" not in processor.text


def test_a_collector_does_not_open_it(browser: Browser) -> None:
    browser.sign_in("collector").get("/results")
    assert browser.status == 403


def test_the_first_page_is_small(application: Starlette, processor: Browser) -> None:
    sizes = [len(processor.get("/results").text)]
    static = re.findall(r'(?:src|href)="(/static/[^"]+)"', processor.text)
    sizes += [len(processor.client.get(address).content) for address in static]
    assert len(static) > 4
    assert sum(sizes) < 150_000


def test_a_met_screen_stands_in_the_verdict_with_its_source_and_no_other_cause_is_computed_back(
    processor: Browser,
) -> None:
    processor.post("/results", {"results": "Na 152 mmol/L\nCl 103 mmol/L\nK 4.2 mmol/L"})
    said = text_of(processor)
    assert "Cannot tell" in said
    assert said.count("A published screen for citrate is met (Lorde 2025)") == 2
    assert "a published screen says otherwise" in said
    assert "Prevalence and detection of citrate contamination" in said
    assert "Without" not in said
