"""Results in JSON: one sample or a list of them, each with what is known of tube, patient and earlier results."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

import msgspec

from cubital.errors import OrderError, UnitError
from cubital.exchange.form import Form, show_json
from cubital.exchange.json_bytes import decode_json, refuse_repeated_keys
from cubital.exchange.patient_object import patient_from_json
from cubital.exchange.result_names import Meaning, known_names, meaning_of
from cubital.exchange.result_units import to_own_unit
from cubital.exchange.table import near_misses
from cubital.facts.population import population
from cubital.model.patient import Patient
from cubital.model.results import Earlier, Result, ResultSet

MOST_SAMPLES, MOST_RESULTS, MOST_EARLIER = 10_000, 250, 5000
MOST_HOURS_BEFORE = 130 * 8766
MOST_FREE_G_PER_L = 200
# The narrowest interval in use, that of sodium, spans 1.07: what is far narrower is a slip.
LEAST_INTERVAL_RATIO = 1.02
SAMPLE_KEYS = ("results", "previous", "tube", "hemolysis_g_l", "patient", "id")
RESULT_KEYS = ("code", "value", "unit", "low", "high")
EARLIER_KEYS = ("code", "value", "unit", "hours_before")

_ROW = re.compile(r"(results|previous)\[[0-9]+\]")

AdditiveOf = Callable[[str], str]


def read_results(
    data: bytes | str, *, additive_of: AdditiveOf, where: str = "results", today: datetime.date | None = None
) -> list[ResultSet]:
    """The samples in these bytes of JSON; `additive_of` says what the tube that a sample names holds.

    Raises `ExchangeError` where the bytes are not JSON, `UnitError` where a unit is missing, unknown or not one of the
    analyte, and `OrderError`, with the path, for the rest. A result of an analyte that is not known here is kept in
    `unread` and takes no part.

    >>> read_results('{"results": [{"code": "2823-3", "value": 5.1, "unit": "mmol/L"}]}', additive_of=str)[0].results
    (Result(analyte='potassium', value=5.1, low=None, high=None),)
    """
    value = decode_json(data, where=where)
    refuse_repeated_keys(data, where=where)
    if not isinstance(value, list):
        return [_read_sample(Form(value, where=where), additive_of, today)]
    if not value or len(value) > MOST_SAMPLES:
        raise OrderError(f"found {len(value)} samples; expected 1 to {MOST_SAMPLES}; split the input", where=where)
    return [
        _read_sample(Form(item, where=where, path=f"[{place}]"), additive_of, today) for place, item in enumerate(value)
    ]


def sample_from_rows(
    value: Mapping[str, object], *, where: str, places: Mapping[str, str], additive_of: AdditiveOf
) -> ResultSet:
    """The sample in an object made of the rows of another format; `places` says where each row really stands."""
    try:
        found = _read_sample(Form(value, where=where), additive_of, None)
    except (OrderError, UnitError) as error:
        raise type(error)(error.message, where=_where_it_stands(error.where, places)) from None
    return msgspec.structs.replace(found, unread=tuple(_where_it_stands(line, places) for line in found.unread))


def _where_it_stands(text: str, places: Mapping[str, str]) -> str:
    return _ROW.sub(lambda match: places.get(match[0], match[0]), text)


def _read_sample(form: Form, additive_of: AdditiveOf, today: datetime.date | None) -> ResultSet:
    unread = [*form.take_unknown(SAMPLE_KEYS)]
    results: dict[str, tuple[Result, str]] = {}
    rows = form.items("results", most=MOST_RESULTS, what="results")
    if not rows:
        form.refuse("results", found="no results", expected="one at least", remedy="write them in brackets")
    for place, item in enumerate(rows):
        row = Form(item, where=form.where, path=form.place(f"results[{place}]"))
        unread += row.take_unknown(RESULT_KEYS)
        result = result_of(row, unread)
        if result is None:
            continue
        taken, first = results.setdefault(result.analyte, (result, row.path))
        if first != row.path:
            _take_once(row, result, taken, first, unread)
    if not results:
        form.refuse(
            "results", found=_first_codes(rows), expected="one analyte that is known here at least",
            remedy="see: docs/reference/suspect.md",
        )  # fmt: skip
    patient, more = _patient(form, today)
    return ResultSet(
        results=tuple(result for result, _ in results.values()), previous=_earlier(form, unread),
        additive=_additive(form, additive_of), hemolysis_g_per_l=_hemolysis(form), patient=patient,
        id=form.text("id"), unread=(*unread, *more),
    )  # fmt: skip


def _first_codes(rows: list[object]) -> str:
    return ", ".join(show_json(row["code"]) for row in rows[:3] if isinstance(row, dict))


def result_of(row: Form, unread: list[str]) -> Result | None:
    """The result in this row; None, with a line in `unread`, where its code is not known here."""
    meaning = _meaning(row, unread)
    return None if meaning is None else _result(row, meaning)


def _take_once(row: Form, result: Result, taken: Result, first: str, unread: list[str]) -> None:
    """A result that is there already: said where it is the same, refused where it is another."""
    name = population().analytes[result.analyte].name
    if result != taken:
        row.refuse(
            "code", found=f"{name} again, another than at {first}", expected="each analyte once",
            remedy="remove one, or write it in previous with hours_before",
        )  # fmt: skip
    unread.append(f"{row.path}: {name} as at {first}, taken once")


def _meaning(row: Form, unread: list[str]) -> Meaning | None:
    code = row.text("code")
    if code is None:
        row.refuse("code", found="nothing", expected="a LOINC code or a name", remedy="write code")
    meaning = meaning_of(code)
    if meaning is None:
        near = near_misses(code, known_names(), least_ratio=0.8)
        hint = f", is it {near[0]}?" if near else ""
        unread.append(f"{row.path}: {show_json(code)} is not an analyte known here and takes no part{hint}")
    return meaning


def _result(row: Form, meaning: Meaning) -> Result:
    low, high = (
        None if row.content.get(end) is None else float(own_value(row, end, meaning)) for end in ("low", "high")
    )
    if (low is None) != (high is None):
        row.refuse(
            "low", found="one end of an interval", expected="low and high, or neither", remedy="write both or none"
        )
    if low is not None and high is not None:
        _check_interval(row, low, high, meaning)
    return Result(analyte=meaning.measurand.key, value=possible_value(row, meaning), low=low, high=high)


def _check_interval(row: Form, low: float, high: float, meaning: Meaning) -> None:
    """Refuse an interval that is none of this analyte: its middle and its width are what results are held against."""
    most = float(meaning.measurand.possible.high)
    if not (low > 0 and low * LEAST_INTERVAL_RATIO <= high <= most):
        row.refuse(
            "low", found=f"{low:g} to {high:g} {meaning.measurand.unit}",
            expected=f"an interval above 0 and up to {most:g}, its high end {LEAST_INTERVAL_RATIO:g} times its low end "
            "or more", remedy="correct it, or leave both out",
        )  # fmt: skip


def own_value(row: Form, key: str, meaning: Meaning) -> Fraction:
    """A number of this row in the analyte's own unit."""
    number = row.number(key, expected="a number")
    if number is None:
        row.refuse(key, found="nothing", expected="a number", remedy=f"write {key}")
    unit = row.text("unit")
    if unit is None:
        row.refuse(
            "unit", found="nothing", expected="a UCUM unit", remedy=f'write it, such as "{meaning.measurand.unit}"'
        )
    where = f"{row.where} {row.place('unit')}"
    return to_own_unit(number, unit, meaning.measurand, where=where, is_urea_nitrogen=meaning.is_urea_nitrogen)


def possible_value(row: Form, meaning: Meaning) -> float:
    """The value in the analyte's own unit; what no analyser reports of any blood is refused."""
    value, measurand = own_value(row, "value", meaning), meaning.measurand
    is_nothing = measurand.can_be_zero and 0 <= value < measurand.possible.low
    if not is_nothing and not measurand.possible.low <= value <= measurand.possible.high:
        row.refuse(
            "value", found=f"{float(value):g} {measurand.unit} of {measurand.name}",
            expected=f"{measurand.possible.low} to {measurand.possible.high} {measurand.unit}",
            remedy="check value and unit",
        )  # fmt: skip
    return float(value)


def _earlier(form: Form, unread: list[str]) -> tuple[Earlier, ...]:
    found: dict[tuple[str, float], Earlier] = {}
    for place, item in enumerate(form.items("previous", most=MOST_EARLIER, what="earlier results")):
        row = Form(item, where=form.where, path=form.place(f"previous[{place}]"))
        unread += row.take_unknown(EARLIER_KEYS)
        one = earlier_of(row, unread)
        if one is None:
            continue
        if (one.analyte, one.hours_before) in found:
            row.refuse("code", found=f"{population().analytes[one.analyte].name} twice at one time",
                       expected="each analyte once a time", remedy="remove one")  # fmt: skip
        found[one.analyte, one.hours_before] = one
    return tuple(found.values())


def earlier_of(row: Form, unread: list[str]) -> Earlier | None:
    """The earlier result in this row; None, with a line in `unread`, where its code is not known here."""
    meaning = _meaning(row, unread)
    if meaning is None:
        return None
    expected = f"hours over 0, at most {MOST_HOURS_BEFORE}"
    hours = row.number("hours_before", expected=expected)
    if hours is None or not 0 < hours <= MOST_HOURS_BEFORE:
        said = row.content.get("hours_before")
        row.refuse("hours_before", found="nothing" if said is None else show_json(said), expected=expected,
                   remedy="write how long before this sample it was drawn")  # fmt: skip
    return Earlier(analyte=meaning.measurand.key, value=possible_value(row, meaning), hours_before=float(hours))


def _patient(form: Form, today: datetime.date | None) -> tuple[Patient, tuple[str, ...]]:
    if form.content.get("patient") is None:
        return Patient(), ()
    return patient_from_json(form.content["patient"], where=f"{form.where} {form.path}".strip(), today=today)


def _additive(form: Form, additive_of: AdditiveOf) -> str | None:
    tube = form.text("tube")
    if tube is None:
        return None
    try:
        return additive_of(tube)
    except OrderError as error:
        raise OrderError(error.message, where=f"{form.where} {form.place('tube')}") from None


def _hemolysis(form: Form) -> float | None:
    expected = f"g/L of free hemoglobin from 0 to {MOST_FREE_G_PER_L}"
    free: Any = form.number("hemolysis_g_l", expected=expected)
    if free is not None and not 0 <= free <= MOST_FREE_G_PER_L:
        form.refuse(
            "hemolysis_g_l", found=show_json(form.content["hemolysis_g_l"]), expected=expected, remedy="correct it"
        )
    return None if free is None else float(free)
