"""Draws the pictures of the docs from what is printed now: `.venv/bin/python -m tests.unit.paper.pictures`."""

from __future__ import annotations

import datetime
import json
from pathlib import Path
from typing import Any

import msgspec
import pypdfium2
from PIL import Image

from cubital.app.draws import dated, plan_order
from cubital.app.printing import invented_collection, labels_of, sheet_of
from cubital.app.wall_cards import CARDS, wall_card
from cubital.app.wiring import open_site, read_order

PICTURES = Path(__file__).resolve().parents[3] / "docs" / "pictures"
DAY = datetime.date(2026, 11, 25)
GROUND, COLOURS, GAP = (205, 205, 210), 160, 12
LABELS = {"patient": {"age": "34 a", "weight_kg": 62}, "tests": ["PT", "K", "CBC"], "access": "winged-set"}
SHEET = {
    "patient": {"age": "68 a", "weight_kg": 62, "drawn_ml": 30}, "priority": "stat", "access": "winged-set",
    "tests": ["PT", "BMP", "CBC", "blood culture"],
}  # fmt: skip


def draw_pictures(folder: Path) -> None:
    """Write every picture of printed paper into this folder."""
    site = open_site(demo=True)
    for name, fields in (("labels", LABELS), ("sheet", SHEET)):
        order = dated(read_order(json.dumps(fields), today=DAY), DAY)
        plan = plan_order(order, site)
        who = invented_collection(plan, order, today=DAY)
        if name == "labels":
            taken = msgspec.structs.replace(who, collected=datetime.datetime(2026, 11, 25, 9, 40), collector="N7")
            _save(_pages(labels_of(plan, order, site, taken, today=DAY), 300)[:4], 2, folder / "labels.png")
        else:
            _save(_pages(sheet_of(plan, order, site, collection=who, today=DAY), 96)[:1], 1, folder / "sheet.png")
    for card in CARDS:
        _save(_pages(wall_card(card, site, today=DAY), 80)[:1], 1, folder / f"card-{card}.png")


def _pages(pdf: bytes, dpi: int) -> list[Any]:
    return [page.render(scale=dpi / 72).to_pil() for page in pypdfium2.PdfDocument(pdf)]


def _save(pages: list[Any], columns: int, path: Path) -> None:
    """The pages beside and under each other, in few enough colours for a small file."""
    width, height = pages[0].size
    rows = -(-len(pages) // columns)
    whole = Image.new("RGB", (columns * (width + GAP) + GAP, rows * (height + GAP) + GAP), GROUND)
    for place, page in enumerate(pages):
        whole.paste(page, (GAP + place % columns * (width + GAP), GAP + place // columns * (height + GAP)))
    few = whole.quantize(colors=COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(path, optimize=True)


if __name__ == "__main__":
    draw_pictures(PICTURES)
