"""Pictures for people who would rather look: bias against carried volume, fill against altitude. Needs matplotlib."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cubital.errors import ExchangeError, MissingLibrary

if TYPE_CHECKING:
    from cubital.app.carry_over import Blood, CarryOver
    from cubital.app.fill import FillReport
    from cubital.model import Site

SUFFIXES = (".svg", ".png")
# A hue and a dash each, so that neither is needed to tell the lines apart.
_LINES = (("#0b5394", "-"), ("#b45f06", "--"), ("#38761d", "-."), ("#741b47", ":"), ("#444444", (0, (5, 1, 1, 1))))
_POINTS = 60


@contextmanager
def _axes(path: Path) -> Iterator[Any]:
    """The axes of a new picture, written to `path` at the end; refuses what cannot be drawn or written."""
    if path.suffix.lower() not in SUFFIXES:
        raise ExchangeError(f"found {path.name[-40:]!r}; expected a name ending in .svg or .png", where="--plot")
    try:
        import matplotlib
    except ImportError:
        raise MissingLibrary.of("matplotlib", need="a picture", extra="plots", where="--plot") from None
    matplotlib.use("Agg")
    from matplotlib import pyplot

    # The same picture twice is the same file: no date in it, and no random names.
    with matplotlib.rc_context({"svg.hashsalt": "cubital", "font.family": "DejaVu Sans", "font.size": 10}):
        figure, axes = pyplot.subplots(figsize=(7.2, 4.8), layout="constrained")
        axes.grid(alpha=0.3)
        try:
            yield axes
            metadata = {"Date": None} if path.suffix.lower() == ".svg" else {}
            figure.savefig(path, dpi=150, metadata=metadata)
        except OSError as error:
            raise ExchangeError(
                f"found {error.strerror}; expected a file that can be written", where="--plot"
            ) from None
        finally:
            pyplot.close(figure)


def plot_carry_over(found: CarryOver, site: Site, blood: Blood, path: Path) -> None:
    """Draw how much of its allowable error each analyte has used up, against the carried volume."""
    from cubital.app.carry_over import bias_curves

    most_ul = min(float(found.blood_ul), 2 * (found.carried_ul or 0.0) or _far_enough_ul(found))
    volumes = [most_ul * step / _POINTS for step in range(_POINTS + 1)]
    curves = bias_curves(found, site, blood, volumes)
    with _axes(path) as axes:
        for (name, shares), (colour, dash) in zip(curves, _LINES, strict=False):
            axes.plot(volumes, shares, color=colour, linestyle=dash, label=name)
        axes.axhline(1, color="black", linewidth=1.2)
        axes.axhline(-1, color="black", linewidth=1.2)
        axes.annotate(
            "allowable error", (most_ul, 1), ha="right", va="bottom", xytext=(0, 2), textcoords="offset points"
        )
        if found.carried_ul is not None:
            axes.axvline(found.carried_ul, color="#888888", linewidth=1)
        axes.set_xlabel(f"{found.from_} carried into {found.blood_ul / 1000:g} mL of blood in {found.into}, uL")
        axes.set_ylabel("change, in allowable errors")
        axes.set_ylim(*_height(curves))
        if curves:
            axes.figure.legend(loc="outside lower center", ncols=2, frameon=False)


def _far_enough_ul(found: CarryOver) -> float:
    reached = [limit.carried_ul for limit in found.limits if limit.carried_ul is not None]
    return 1.5 * max(reached[:4]) if reached else 0.1 * found.blood_ul


def _height(curves: Sequence[tuple[str, list[float]]]) -> tuple[float, float]:
    """Room for the limits and the curves, to five allowable errors either way."""
    values = [share for _, shares in curves for share in shares]
    return max(-5.0, min([-1.3, *values]) * 1.05), min(5.0, max([1.3, *values]) * 1.05)


def plot_fill(found: FillReport, path: Path) -> None:
    """Draw the fill of each tube against altitude, with its least fill and the altitude asked."""
    from cubital.app.fill import altitude_curves

    metres, curves = altitude_curves(found)
    with _axes(path) as axes:
        for (name, fills), (colour, dash) in zip(curves, _LINES * 4, strict=False):
            axes.plot(metres, [100 * fill for fill in fills], color=colour, linestyle=dash, label=name)
        least = {line.fill_min_percent for line in found.tubes if line.fill_min_percent is not None}
        for percent in sorted(least):
            axes.axhline(percent, color="black", linewidth=1.2)
            axes.annotate(f"least fill {percent} %", (metres[-1], percent), ha="right", va="top",
                          xytext=(0, -3), textcoords="offset points")  # fmt: skip
        axes.axvline(found.altitude_m, color="#888888", linewidth=1)
        axes.set_xlabel("altitude, m")
        axes.set_ylabel("fill, % of the nominal draw")
        axes.figure.legend(loc="outside lower center", ncols=2, frameon=False)
