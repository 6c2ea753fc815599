"""The Results page: results typed, pasted or sent as a file, and what may have gone into their tube."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from starlette.responses import Response

from cubital.app.explanation import citations
from cubital.app.results_answer import ResultsAnswer, SampleAnswer, answer_file, answer_typed_results
from cubital.errors import CubitalError, ExchangeError, UnitError
from cubital.model.vocabulary import SEXES
from cubital.paper.ink import WEAVES
from cubital.units import exact
from cubital.web.draw_page import AGE_UNITS
from cubital.web.visit import Visit

MOST_FILE_BYTES = 1_000_000
_FIELDS = ("results", "earlier", "hours_before", "tube", "hemolysis_g_l", "age", "age_unit", "sex")
# The weave of a bar: an additive's is that of its tube's collar; the others have their own.
_WEAVES = {**WEAVES, "fluid": "broth", "hemolysis": "lattice", "delay": "slant", "identity": "zigzag"}
# Invented: no patient's, and called so on the page. A tenth of K2 EDTA plasma, computed, in an adult's usual values.
EXAMPLE = {
    "results": (
        "K 6.2 mmol/L\nNa 139 mmol/L\nCl 103 mmol/L\nCa 2.00 mmol/L\nMg 0.40 mmol/L\nALP 45 U/L\ncreatinine 82 umol/L\n"
        "albumin 41 g/L"
    ),
    "earlier": "K 4.3 mmol/L\nCa 2.31 mmol/L", "hours_before": "24", "hemolysis_g_l": "0.1", "tube": "", "age": "61",
    "age_unit": "a", "sex": "",
}  # fmt: skip


def open_page(visit: Visit) -> Response:
    """An empty form."""
    return _page(visit, _said(visit), ResultsAnswer())


def weigh(visit: Visit) -> Response:
    """The answer to what is in the form now, to a file, or to the invented example."""
    if visit.said("example"):
        return _page(visit, EXAMPLE, _answer(visit, EXAMPLE), is_example=True)
    said = _said(visit)
    file = visit.file("file")
    answer = _answer(visit, said) if file is None else _answer_file(visit, file)
    return _page(visit, said, answer)


def _page(visit: Visit, said: dict[str, str], answer: ResultsAnswer, *, is_example: bool = False) -> Response:
    site = visit.desk.site
    context = {
        "said": said, "answer": answer, "is_example": is_example, "age_units": AGE_UNITS, "sexes": SEXES,
        "tubes": sorted(((key, kind.name) for key, kind in site.kinds.items()), key=lambda pair: pair[1]),
        "weaves": _WEAVES, "sources": citations(sample.told for sample in answer.samples), "status": _status(answer),
        "most_kb": MOST_FILE_BYTES // 1000,
    }  # fmt: skip
    return visit.page("results_answer.html" if visit.is_partial else "results.html", context)


def _said(visit: Visit) -> dict[str, str]:
    return {name: visit.said(name) for name in _FIELDS}


def _answer(visit: Visit, said: dict[str, str]) -> ResultsAnswer:
    try:
        fields: dict[str, Any] = {"tube": said["tube"]} if said["tube"] else {}
        if said["hemolysis_g_l"].strip():
            fields["hemolysis_g_l"] = _number(said, "hemolysis_g_l", "index of hemolysis")
        patient: dict[str, object] = {"sex": said["sex"]} if said["sex"] else {}
        if said["age"].strip():
            patient["age"] = f"{said['age'].strip()} {said['age_unit'] or 'a'}"
        fields |= {"patient": patient} if patient else {}
        hours = _number(said, "hours_before", "hours before") if said["hours_before"].strip() else None
    except CubitalError as error:
        return ResultsAnswer(refusal=error)
    return answer_typed_results(said["results"], said["earlier"], fields, visit.desk.site, hours_before=hours)


def _answer_file(visit: Visit, file: tuple[str, bytes]) -> ResultsAnswer:
    _, data = file
    if len(data) > MOST_FILE_BYTES:
        found = f"found {len(data)} bytes; expected at most {MOST_FILE_BYTES}; split the file"
        return ResultsAnswer(refusal=ExchangeError(found, where="file"))
    return answer_file(data, visit.desk.site, where="file")


def _number(said: dict[str, str], name: str, words: str) -> Decimal:
    text = said[name].strip()
    try:
        exact(text, where=words)
        return Decimal(text)
    except (ArithmeticError, ValueError):
        raise UnitError(
            f"found {text[:20]!r}; expected a number; write it with digits and a point, such as 0.3", where=words
        ) from None


def _status(answer: ResultsAnswer) -> str:
    """The answer in a few words, for the bar of a phone and for who cannot see the page."""
    if answer.refusal is not None:
        return "Not weighed: refused"
    if answer.refused_lines:
        count = len(answer.refused_lines)
        return f"Not weighed: {count} line{'' if count == 1 else 's'} to correct"
    if len(answer.samples) == 1:
        return _words(answer.samples[0])
    again = sum(sample.is_drawn_again for sample in answer.samples)
    return f"{len(answer.samples)} samples, {again} to draw again" if answer.samples else ""


def _words(sample: SampleAnswer) -> str:
    return f"{sample.headline}. {sample.act}".rstrip(".") + "."
