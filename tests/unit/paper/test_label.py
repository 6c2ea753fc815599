"""Labels: what is on them can be read by people and by scanners on every stock, and nothing is ever cut."""

from __future__ import annotations

import datetime
import re
from collections import Counter
from itertools import pairwise

import msgspec
import numpy as np
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cubital import facts
from cubital.app.draw_words import short_words
from cubital.errors import PaperError
from cubital.facts.labels import PAPER_MM, label_stock
from cubital.model.identity import Identity
from cubital.paper.label import Slip, print_labels
from cubital.paper.label_face import DOT_MM, LEAST_BAR_MM, SpecimenLabel
from tests.unit.paper.pdf import PRINTER_DPI, codes_of, inked_mm, picture_of, sizes_of, words_of

WHO = Identity(name="Invented, Ottoline", number="X-000123", birth_date=datetime.date(1958, 3, 2), is_invented=True)
SLIP = Slip(
    site="Quillmere Hospital (invented)", edition="2025-11-25", on=datetime.date(2026, 11, 25),
    cautions=("Two identifiers.", "Label at the patient, after filling."),
)  # fmt: skip
STOCK = sorted(label_stock())


def label(**changes: object) -> SpecimenLabel:
    """One label of the invented patient."""
    whole = SpecimenLabel(
        identity=WHO, specimen="Q2600401", mark="C9", tube="citrate 9:1, coagulation", letters="9NC", family="citrate",
        draw_ul=2700, position=2, positions=4, collected=datetime.datetime(2026, 11, 25, 9, 40), collector="N7",
    )  # fmt: skip
    return msgspec.structs.replace(whole, **changes)


def squeezed(text: str) -> str:
    """The text without spaces, which a line end may take the place of."""
    return "".join(text.split())


def someone(**changes: object) -> SpecimenLabel:
    return label(identity=msgspec.structs.replace(WHO, **changes))


@pytest.mark.parametrize("key", STOCK)
@pytest.mark.parametrize("in_black", [False, True])
def test_both_codes_of_every_label_are_read_at_203_dpi_on_every_stock(key: str, in_black: bool) -> None:
    numbers = ["Q2600401", "12345678", "A-7"]
    labels = [label(specimen=number, is_stat=place == 1) for place, number in enumerate(numbers)]
    found = [
        code for page in codes_of(print_labels(labels, SLIP, label_stock()[key]), in_black=in_black) for code in page
    ]
    assert sorted(found) == sorted((kind, number) for number in numbers for kind in ("Code128", "DataMatrix"))


@pytest.mark.parametrize("key", STOCK)
def test_a_full_sheet_and_a_second_one_are_read_back_whole(key: str) -> None:
    stock = label_stock()[key]
    count = 3 if stock.sheet is None else stock.sheet.columns * stock.sheet.rows + 1
    numbers = [f"Q26{place:05}" for place in range(count)]
    pages = codes_of(print_labels([label(specimen=number) for number in numbers], SLIP, stock))
    assert len(pages) == (count + 1 if stock.sheet is None else 2)
    assert sorted(text for page in pages for _, text in page) == sorted(numbers * 2)


@pytest.mark.parametrize("key", STOCK)
def test_every_label_says_who_when_by_whom_and_which_tube(key: str) -> None:
    pages = words_of(
        print_labels([label(), label(specimen="Q2600402", collected=None, collector=None)], SLIP, label_stock()[key])
    )
    said = " ".join(pages)
    for words in (
        "Invented, Ottoline", "X-000123", "born 1958-03-02", "Q2600401", "2.7 mL", "citrate 9:1, coagulation", "[9NC]",
        "C9", "2/4", "taken 2026-11-25 09:40 by N7", "taken ___________ by ______",
    ):  # fmt: skip
        assert words in said, words


@pytest.mark.parametrize("key", STOCK)
def test_the_moment_of_every_test_fits_on_every_stock_and_both_codes_are_read(key: str) -> None:
    said = {short_words(moment.label) for moment in facts.moments().values() if not (moment.draws or moment.is_stated)}
    for text in [*sorted(said, key=len)[-3:], "120 min", "C0, trough", "draw 10, second sample", "0 min, fasting"]:
        pdf = print_labels([label(draw=text)], SLIP, label_stock()[key])
        assert squeezed(text) in squeezed(" ".join(words_of(pdf))), text
        assert sorted(kind for page in codes_of(pdf) for kind, _ in page) == ["Code128", "DataMatrix"], text


@pytest.mark.parametrize("key", STOCK)
def test_the_slip_names_site_facts_day_and_cautions_and_has_no_code(key: str) -> None:
    stock = label_stock()[key]
    pdf = print_labels([label()], SLIP, stock)
    said = words_of(pdf)[0]
    for words in ("NOT A SPECIMEN: 1 label follows", SLIP.site, "facts 2025-11-25, printed 2026-11-25", *SLIP.cautions):
        assert words in said.replace("\n", " "), words
    if stock.sheet is None:
        assert codes_of(pdf)[0] == []


@pytest.mark.parametrize("key", [key for key in STOCK if label_stock()[key].sheet is None])
def test_nothing_is_printed_outside_the_free_edge_of_a_roll(key: str) -> None:
    stock = label_stock()[key]
    pdf = print_labels([label(is_stat=True)], SLIP, stock)
    assert sizes_of(pdf)[1] == pytest.approx((float(stock.width_mm), float(stock.height_mm)), abs=DOT_MM / 2 + 0.001)
    left, top, right, bottom = inked_mm(pdf, page=1)
    edge = float(stock.edge_mm) - 0.3
    assert left >= edge
    assert top >= edge
    assert right <= float(stock.width_mm) - edge
    assert bottom <= float(stock.height_mm) - edge


@pytest.mark.parametrize("key", [key for key in STOCK if label_stock()[key].sheet is not None])
def test_the_pages_of_a_sheet_have_the_size_of_its_paper_and_used_labels_are_left_free(key: str) -> None:
    stock = label_stock()[key]
    assert stock.sheet is not None
    pdf = print_labels([label()], SLIP, stock, skip=stock.sheet.columns)
    width, height = (float(side) for side in PAPER_MM[stock.sheet.paper])
    assert sizes_of(pdf) == [pytest.approx((width, height), abs=0.01)]
    assert inked_mm(pdf)[1] > float(stock.sheet.top_mm + stock.height_mm)
    with pytest.raises(PaperError, match="already used"):
        print_labels([label()], SLIP, stock, skip=stock.sheet.columns * stock.sheet.rows)


@pytest.mark.parametrize("key", STOCK)
def test_every_bar_is_a_whole_number_of_printer_dots_two_at_least_and_high_enough(key: str) -> None:
    stock = label_stock()[key]
    document = pypdfium2.PdfDocument(print_labels([label()], SLIP, stock))
    page = document[len(document) - 1]
    dark = picture_of(page) < 128
    if stock.sheet is not None:
        left = round(float(stock.sheet.left_mm + stock.sheet.pitch_x_mm) / DOT_MM)
        dark = dark[:, left : left + round(float(stock.width_mm) / DOT_MM)]
    # The rows through the bars are all alike, and go over from dark to light more often than the matrix.
    crossing = [line.tobytes() for line in dark if int((line[1:] != line[:-1]).sum()) > 30]
    row = np.frombuffer(Counter(crossing).most_common(1)[0][0], dtype=bool)
    edges = [0, *(place + 1 for place in range(len(row) - 1) if row[place] != row[place + 1]), len(row)]
    runs = [after - before for before, after in pairwise(edges)][1:-1]
    narrow = min(runs)
    assert narrow >= 2
    assert narrow * 25.4 / PRINTER_DPI >= 0.25
    assert {run / narrow for run in runs} <= {1, 2, 3, 4}
    same = (dark == row).all(axis=1).sum() * 25.4 / PRINTER_DPI
    assert same >= LEAST_BAR_MM - 0.3


def test_the_same_labels_are_the_same_bytes_and_the_file_names_no_patient() -> None:
    stock = label_stock()["roll-50x25"]
    first, second = (print_labels([label()], SLIP, stock) for _ in range(2))
    assert first == second
    info = pypdfium2.PdfDocument(first).get_metadata_dict()
    assert "Ottoline" not in str(info)
    assert SLIP.site in info["Subject"]


def test_a_long_name_is_set_smaller_then_on_two_lines_and_then_refused_by_its_field() -> None:
    stock = label_stock()["roll-50x25"]
    for name in ("Oversley-Penhallow, Maximilian", "Brandywine-Featherstonehaugh, Maximiliana Theodora"):
        said = words_of(print_labels([someone(name=name)], SLIP, stock))[1]
        assert all(part in said for part in name.split(" "))
        assert (name in said) == (len(name) < 40)
    with pytest.raises(PaperError, match=r"label 1 of 1 on roll-50x25: found 95 characters") as refused:
        print_labels([someone(name="Brandywine-Oversley, " * 4 + "Maximiliana")], SLIP, stock)
    assert refused.value.field == "name"
    assert "Brandywine" not in str(refused.value)


@pytest.mark.parametrize(
    ("label_", "field"),
    [
        (someone(number="9" * 60), "number"),
        (someone(second_number="8" * 60), "birth_date and second_number"),
        (label(tube="citrate " * 30), "tube"),
        (
            label(collector="a collector of a name that is far too long for any label of this size"),
            "collected and collector",
        ),
        (label(specimen="ABCDEFGHIJKLMNOPQRST"), "specimen"),
        (label(specimen="1" * 90), "specimen"),
        (label(specimen="Ü1"), "specimen"),
        (label(specimen="Q1\t"), "specimen"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_field(label_: SpecimenLabel, field: str) -> None:
    with pytest.raises(PaperError) as refused:
        print_labels([label_], SLIP, label_stock()["roll-38x25"])
    assert refused.value.field == field


def test_two_specimens_of_one_number_and_no_specimen_at_all_are_refused() -> None:
    stock = label_stock()["roll-50x25"]
    with pytest.raises(PaperError, match="one number twice"):
        print_labels([label(), label(position=3)], SLIP, stock)
    with pytest.raises(PaperError, match="no specimen"):
        print_labels([], SLIP, stock)


@pytest.mark.parametrize(
    "name", ["Ångström-Łukasiewicz, Jürgen", "Παπαδοπούλου, Ελένη", "Щербакова, Юлия", "Nguyễn, Thị Hồng"]
)
def test_names_in_latin_greek_and_cyrillic_are_printed_as_they_are(name: str) -> None:
    said = words_of(print_labels([someone(name=name)], SLIP, label_stock()["roll-57x32"]))[1]
    assert name in said


def test_a_letter_written_in_two_parts_is_printed_as_one() -> None:
    said = words_of(print_labels([someone(name="Jose\u0301 Pen\u0303a")], SLIP, label_stock()["roll-57x32"]))[1]
    assert "José Peña" in said


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("王小明", "U+738B CJK UNIFIED IDEOGRAPH-738B"),
        ("שרה", "U+05E9 HEBREW LETTER SHIN"),
        ("سارة", "U+0633 ARABIC LETTER SEEN"),
        ("Q\u0323x", "U+0323 COMBINING DOT BELOW"),
        ("Ann\u202ea", "U+202E RIGHT-TO-LEFT OVERRIDE"),
        ("Ann\u200ba", "U+200B ZERO WIDTH SPACE"),
    ],
)
def test_a_letter_that_cannot_be_drawn_is_refused_by_its_code(name: str, code: str) -> None:
    with pytest.raises(PaperError, match=code.replace("+", r"\+")) as refused:
        print_labels([someone(name=name)], SLIP, label_stock()["roll-57x32"])
    assert refused.value.field == "name"


def test_a_site_name_too_long_for_the_slip_is_refused() -> None:
    slip = msgspec.structs.replace(SLIP, site="A hospital of many words " * 20)
    with pytest.raises(PaperError, match="slip"):
        print_labels([label()], slip, label_stock()["roll-45x22"])


def test_no_part_of_an_identity_shows_in_its_representation() -> None:
    assert repr(WHO) == "Identity(…)"
    assert "Ottoline" not in repr(label())


def printed_or_refused(one: SpecimenLabel, key: str) -> tuple[bytes | None, str]:
    """The PDF of one label, or the field for which it is refused."""
    try:
        return print_labels([one], SLIP, label_stock()[key]), ""
    except PaperError as refused:
        return None, refused.field


LETTERS = st.sampled_from("AbÇdéłøĞžΩψЖяỆ'-, 09")


@settings(max_examples=40, deadline=None)
@given(
    name=st.text(LETTERS, min_size=1, max_size=70).map(lambda text: " ".join(text.split())).filter(bool),
    number=st.text("0123456789ABX-", min_size=1, max_size=30),
    specimen=st.text("0123456789QZ-", min_size=1, max_size=18),
    key=st.sampled_from(STOCK),
)
def test_whatever_is_printed_is_printed_whole_or_refused(name: str, number: str, specimen: str, key: str) -> None:
    one = label(identity=msgspec.structs.replace(WHO, name=name, number=number), specimen=specimen)
    pdf, field = printed_or_refused(one, key)
    if pdf is None:
        assert field in ("name", "number", "number and birth_date", "specimen")
        return
    said = "".join(" ".join(words_of(pdf)).split())
    for text in (*name.split(), number, specimen, "born1958-03-02"):
        # A hyphen at the end of a line is taken for one of the line's own by what reads the words.
        assert "".join(text.split()).replace("-", "") in re.sub("[-\ufffe\u0002\u00ad]", "", said) + said
    found = sorted(code for page in codes_of(pdf) for code in page)
    assert found == [("Code128", specimen), ("DataMatrix", specimen)]
