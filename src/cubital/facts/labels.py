"""Specimen labels: the stock they are printed on, and what they say."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

import msgspec

from cubital.facts.reading import read_table, shape
from cubital.facts.sources import Mark, check_marks, entries

STOCK_FILE, CONTENT_FILE = "label_stock.toml", "label_content.toml"
PaperKey = Literal["a4", "letter"]
# ISO 216; ANSI/ASME Y14.1 (8.5 x 11 in).
PAPER_MM: Mapping[PaperKey, tuple[Decimal, Decimal]] = MappingProxyType(
    {"a4": (Decimal(210), Decimal(297)), "letter": (Decimal("215.9"), Decimal("279.4"))}
)
LEAST_WIDTH_MM, LEAST_HEIGHT_MM = 30, 20
Few = Annotated[int, msgspec.Meta(ge=1, le=40)]
MOST_MM, MOST_PT = 300, 40


class LabelSheet(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where the labels of a sheet lie: the first one's corner, and the pitch to the next."""

    paper: PaperKey
    columns: Few
    rows: Few
    left_mm: Decimal
    top_mm: Decimal
    pitch_x_mm: Decimal
    pitch_y_mm: Decimal

    def __post_init__(self) -> None:
        _check_span(self, ("left_mm", "top_mm", "pitch_x_mm", "pitch_y_mm"), MOST_MM, "millimetres")


class LabelStock(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One kind of label; `sheet` is None where labels come one after the other from a roll."""

    key: str
    name: str
    width_mm: Decimal
    height_mm: Decimal
    edge_mm: Decimal
    from_: Mark = msgspec.field(name="from")
    sheet: LabelSheet | None = None

    def __post_init__(self) -> None:
        _check_span(self, ("width_mm", "height_mm", "edge_mm"), MOST_MM, "millimetres")
        if self.width_mm < LEAST_WIDTH_MM or self.height_mm < LEAST_HEIGHT_MM:
            raise ValueError(
                f"found {self.width_mm} x {self.height_mm} mm; expected {LEAST_WIDTH_MM} x {LEAST_HEIGHT_MM} mm "
                "at least, or nothing on it can be read"
            )
        if 2 * self.edge_mm > self.height_mm / 2:
            raise ValueError(f"found edge_mm {self.edge_mm}; expected at most a quarter of the height")
        if self.sheet is not None:
            self._check_sheet(self.sheet)

    def _check_sheet(self, sheet: LabelSheet) -> None:
        paper_x_mm, paper_y_mm = PAPER_MM[sheet.paper]
        for word, first, pitch, count, size, paper in (
            ("across", sheet.left_mm, sheet.pitch_x_mm, sheet.columns, self.width_mm, paper_x_mm),
            ("down", sheet.top_mm, sheet.pitch_y_mm, sheet.rows, self.height_mm, paper_y_mm),
        ):
            if count > 1 and pitch < size:
                raise ValueError(f"found a pitch of {pitch} mm {word}; expected at least the label's {size} mm")
            end = first + pitch * (count - 1) + size
            if end > paper:
                raise ValueError(f"found labels that end at {end} mm {word}; expected at most {paper}, the paper")


class LabelField(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that a label says, and the largest and the least type it is set in, in points."""

    says: str
    most_pt: Decimal
    least_pt: Decimal
    marks: tuple[Mark, ...]

    def __post_init__(self) -> None:
        _check_span(self, ("most_pt", "least_pt"), MOST_PT, "points")
        if self.least_pt > self.most_pt:
            raise ValueError(f"found least_pt {self.least_pt} over most_pt {self.most_pt}; expected it under")
        if not self.marks:
            raise ValueError("found no marks; expected at least one")


@cache
def label_stock() -> Mapping[str, LabelStock]:
    """Every kind of label by its key.

    >>> label_stock()["roll-50x25"].from_.label()
    'standard: clsi-auto12 (abstract read)'
    """
    return load_label_stock(read_table(STOCK_FILE), file=STOCK_FILE)


def load_label_stock(table: Mapping[str, Any], *, file: str) -> Mapping[str, LabelStock]:
    """The label stock that a parsed table holds."""
    found = {
        key: shape({"key": key, **entry}, LabelStock, file=file, entry=key) for key, entry in entries(table, file=file)
    }
    for key, stock in found.items():
        check_marks(stock, file=file, entry=key)
    return MappingProxyType(found)


@cache
def label_content() -> Mapping[str, LabelField]:
    """What a label says, by field.

    >>> label_content()["name"].least_pt
    Decimal('7.5')
    """
    return load_label_content(read_table(CONTENT_FILE), file=CONTENT_FILE)


def load_label_content(table: Mapping[str, Any], *, file: str) -> Mapping[str, LabelField]:
    """The fields of a label that a parsed table holds."""
    found = {key: shape(entry, LabelField, file=file, entry=key) for key, entry in entries(table, file=file)}
    for key, field in found.items():
        check_marks(field, file=file, entry=key)
    return MappingProxyType(found)


def _check_span(record: object, names: tuple[str, ...], most: int, unit: str) -> None:
    for name in names:
        value = getattr(record, name)
        if not 0 <= value <= most:
            raise ValueError(f"found {name} {value}; expected 0 to {most} {unit}")
