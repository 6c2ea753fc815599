"""Writes docs/pictures/: what `cubital carryover --plot` and `cubital fill --plot` draw, at the shipped defaults.

Run it after changing the chemistry or its facts: `.venv/bin/python scripts/write_docs_pictures.py`. A test compares the
pictures with what the code draws now. The charts of detection are drawn from docs/pictures/detection.json, which
`python -m tests.detection.evaluation evaluation` writes in minutes.
"""

from __future__ import annotations

import contextlib
import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from cubital.cli.main import status_of

PICTURES = Path(__file__).resolve().parents[1] / "docs" / "pictures"
COMMANDS = {
    "carry-over.svg": ("carryover", "edta", "serum-gel", "--into-ml", "3.5"),
    "fill.svg": ("fill", "citrate", "--altitude-m", "1609"),
}


# Hues that are told apart in grey too, each with a dash and a mark of its own.
_STYLES = (
    ("#0b5394", "-", "o"), ("#b45f06", "--", "s"), ("#38761d", "-.", "^"), ("#741b47", ":", "D"), ("#444444", "-", "x"),
    ("#9e7700", "--", "v"),
)  # fmt: skip
_SENSITIVITY_OF = {
    "k2-edta": "K2 EDTA plasma", "sodium-citrate": "citrate plasma", "fluoride-oxalate": "fluoride/oxalate plasma",
    "saline": "saline", "dextrose": "dextrose", "balanced-fluid": "balanced fluid",
}  # fmt: skip
_CURVES = {
    "k2-edta 0.1": "K2 EDTA, 10 %", "k2-edta 0.05": "K2 EDTA, 5 %", "k2-edta 0.03": "K2 EDTA, 3 %",
    "sodium-citrate 0.2": "citrate, 20 %", "saline 0.1": "saline, 10 %",
}  # fmt: skip
_PANEL = {"8": "8 analytes", "18": "18 analytes", "22": "22, with zinc and magnesium"}


@contextmanager
def _axes(path: Path) -> Iterator[Any]:
    """The axes of a chart; the same chart twice is the same file."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    with matplotlib.rc_context({"svg.hashsalt": "cubital", "font.family": "DejaVu Sans", "font.size": 10}):
        figure, axes = pyplot.subplots(figsize=(7.2, 4.8), layout="constrained")
        axes.grid(alpha=0.3)
        yield axes
        figure.savefig(path, metadata={"Date": None})
        pyplot.close(figure)


def draw_detection(found: dict[str, Any], folder: Path) -> None:
    """The four charts of detection: curves, sensitivity by dose, K2 EDTA by panel, calibration."""
    by_panel = {(one["panel"], one["has_earlier"]): one for one in found["settings"]}
    _draw_curves(by_panel["18", False]["roc"], folder / "detection-roc.svg")
    with _axes(folder / "detection-dose.svg") as axes:
        for (cause, label), style in zip(_SENSITIVITY_OF.items(), _STYLES, strict=True):
            _draw_doses(axes, by_panel["18", False]["sensitivity"][cause], label, style)
        _end_doses(axes, "share of the sample's plasma, %", (1, 2, 3, 5, 10, 20, 30))
    with _axes(folder / "detection-edta.svg") as axes:
        for (panel, has_earlier), one in by_panel.items():
            hue = _STYLES[list(_PANEL).index(panel)][0]
            label = _PANEL[panel] + (", and earlier results" if has_earlier else "")
            style = (hue, "--", "s") if has_earlier else (hue, "-", "o")
            _draw_doses(axes, one["sensitivity"]["k2-edta"], label, style)
        axes.axhline(95, color="#888888", linewidth=1)
        _end_doses(axes, "K2 EDTA plasma, % of the sample's", (1, 2, 3, 5, 10, 20))
    _draw_calibration(found["calibration"][0]["bins"], folder / "detection-calibration.svg")


def _draw_curves(curves: dict[str, list[list[float]]], path: Path) -> None:
    with _axes(path) as axes:
        for (key, label), (hue, dash, _) in zip(_CURVES.items(), _STYLES, strict=False):
            alarms, shares = ([100 * value for value in line] for line in zip(*curves[key], strict=True))
            axes.step(alarms, shares, hue, linestyle=dash, where="post", label=label)
        axes.axvline(1, color="#888888", linewidth=1)
        axes.set(xlabel="clean samples called contaminated, %", ylabel="contaminated samples found, %")
        axes.set(xlim=(0, 10), ylim=(0, 102))
        axes.figure.legend(loc="outside lower center", ncols=3, frameon=False)


def _draw_doses(axes: Any, line: dict[str, float], label: str, style: tuple[str, str, str]) -> None:
    doses, shares = [100 * float(dose) for dose in line], [100 * share for share in line.values()]
    hue, dash, mark = style
    axes.plot(doses, shares, hue, linestyle=dash, marker=mark, label=label)


def _end_doses(axes: Any, of: str, ticks: tuple[int, ...]) -> None:
    axes.set_xscale("log")
    axes.set_xticks(ticks, [str(tick) for tick in ticks])
    axes.minorticks_off()
    axes.set(xlabel=of, ylabel="found at 1 % false alarms, %", ylim=(0, 102))
    axes.figure.legend(loc="outside lower center", ncols=2, frameon=False)


def _draw_calibration(bins: list[list[float]], path: Path) -> None:
    with _axes(path) as axes:
        axes.plot([0, 1], [0, 1], "#888888", linewidth=1, label="as it should be")
        label = "18 analytes, half of the samples contaminated"
        axes.plot([meant for _, meant, _ in bins], [real for *_, real in bins], "#0b5394", marker="o", label=label)
        for share, *at in bins:
            text = f"{100 * share:.2g} %"
            axes.annotate(text, at, xytext=(6, -11), textcoords="offset points", fontsize=8)
        axes.set(xlabel="probability given", ylabel="share that was contaminated", xlim=(0, 1.07), ylim=(-0.02, 1.04))
        axes.figure.legend(loc="outside lower center", ncols=2, frameon=False)


def write_pictures(folder: Path) -> None:
    """Draw every picture into this folder."""
    for name, command in COMMANDS.items():
        with contextlib.redirect_stdout(io.StringIO()):
            status = status_of([*command, "--plot", str(folder / name)])
        if status != 0:
            raise SystemExit(f"{name}: cubital {' '.join(command)} ended with {status}")


if __name__ == "__main__":
    PICTURES.mkdir(parents=True, exist_ok=True)
    write_pictures(PICTURES)
    draw_detection(json.loads((PICTURES / "detection.json").read_text(encoding="utf-8")), PICTURES)
    print(f"wrote {', '.join(COMMANDS)}")
