"""The results of one sample, in the units of this project, with what is known of the tube and the patient."""

from __future__ import annotations

from math import isfinite

import msgspec

from cubital.model.patient import Patient


class Result(msgspec.Struct, frozen=True, kw_only=True):
    """One result; `analyte` is a key of the population's analytes, the value in that analyte's unit.

    `low` and `high` are the laboratory's own reference interval, both or neither.
    """

    analyte: str
    value: float
    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        if not isfinite(self.value) or self.value < 0:
            raise ValueError(f"found {self.value} of {self.analyte}; expected a finite number, 0 or more")
        if (self.low is None) != (self.high is None):
            raise ValueError(f"found one end of the interval of {self.analyte}; expected both or neither")
        if self.low is not None and self.high is not None and not 0 < self.low < self.high < float("inf"):
            raise ValueError(f"found an interval of {self.low} to {self.high}; expected 0 < low < high")


class Earlier(msgspec.Struct, frozen=True, kw_only=True):
    """An earlier result of the same patient, so many hours before."""

    analyte: str
    value: float
    hours_before: float

    def __post_init__(self) -> None:
        if not isfinite(self.value) or self.value < 0:
            raise ValueError(f"found {self.value} of {self.analyte}; expected a finite number, 0 or more")
        if not 0 <= self.hours_before < float("inf"):
            raise ValueError(f"found {self.hours_before} hours before; expected 0 or more")


class TypedLine(msgspec.Struct, frozen=True, kw_only=True):
    """One line as a person typed it, and what it was read as: a result, or words on why it is none.

    `is_refused` marks a line that must be corrected before anything is weighed; else what is said of it is only said.
    """

    number: int
    text: str
    result: Result | Earlier | None = None
    said: str = ""
    is_refused: bool = False


class ResultSet(msgspec.Struct, frozen=True, kw_only=True):
    """The results of one sample. `additive` is the tube's where it is known; `unread` what nothing here reads.

    >>> ResultSet(results=(Result(analyte="potassium", value=4.3),)).hemolysis_g_per_l is None
    True
    """

    results: tuple[Result, ...]
    previous: tuple[Earlier, ...] = ()
    additive: str | None = None
    hemolysis_g_per_l: float | None = None
    patient: Patient = Patient()
    id: str | None = None
    unread: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        names = [result.analyte for result in self.results]
        if len(set(names)) < len(names):
            raise ValueError("found an analyte twice; expected each once")
        free = self.hemolysis_g_per_l
        if free is not None and not 0 <= free <= 200:
            raise ValueError(f"found {free} g/L of free hemoglobin; expected 0 to 200")
