"""The pictures of the docs are of what is printed now."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, ImageChops

from tests.unit.paper.pictures import PICTURES, draw_pictures

# How much of a picture may differ: fonts are drawn a little otherwise by another edition of the renderer.
MOST_DIFFERENT = 0.02


def test_the_pictures_of_the_docs_are_of_what_is_printed_now(tmp_path: Path) -> None:
    draw_pictures(tmp_path)
    drawn = sorted(path.name for path in tmp_path.iterdir())
    assert drawn == ["card-bench.png", "card-order.png", "card-tests.png", "labels.png", "sheet.png"]
    for name in drawn:
        now, then = (Image.open(folder / name).convert("L") for folder in (tmp_path, PICTURES))
        assert now.size == then.size, f"{name}: run python -m tests.unit.paper.pictures"
        share = float(np.mean(np.asarray(ImageChops.difference(now, then)) > 64))
        assert share < MOST_DIFFERENT, f"{name}: {share:.3f} differs; run python -m tests.unit.paper.pictures"
        assert (PICTURES / name).stat().st_size < 100_000
