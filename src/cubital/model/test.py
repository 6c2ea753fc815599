"""What can be ordered: tests, panels and what each needs."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from cubital.model.vocabulary import MatrixKey, RankKey


class Accept(msgspec.Struct, frozen=True, kw_only=True):
    """One way to run a test: this matrix, from these tube kinds in order of preference."""

    matrix: MatrixKey
    tubes: tuple[str, ...]
    volume_ul: int
    minimum_ul: int


class Test(msgspec.Struct, frozen=True, kw_only=True):
    """One test of the directory.

    `handling` holds the keys of the handling terms that apply (`ice`, `keep_closed`, …);
    `timed` is the rule of its collection time in words; `culture` marks a blood culture, whose
    bottles follow from the patient's weight and are never packed. `moment` is the key of when its blood is drawn
    (`data/moments.toml`), None for any time; `rank` says how it stands when blood is short, None where
    nobody ranked it.
    """

    __test__ = False  # pytest: a laboratory test, not one of ours

    key: str
    name: str
    also: tuple[str, ...] = ()
    codes: Mapping[str, str] = {}
    bench: str
    accepts: tuple[Accept, ...] = ()
    own_tube: bool = False
    handling: tuple[str, ...] = ()
    timed: str | None = None
    cautions: tuple[str, ...] = ()
    culture: str | None = None
    moment: str | None = None
    rank: RankKey | None = None
    basis: Mapping[str, tuple[str, str]] = {}

    @property
    def rank_when_short(self) -> RankKey:
        """How the test stands when blood is short: its rank, or `useful-today` where nobody ranked it."""
        return self.rank or "useful-today"


class SeriesStep(msgspec.Struct, frozen=True, kw_only=True):
    """The tests of one draw in a timed series, `at_min` minutes after the start."""

    at_min: int
    tests: tuple[str, ...]


class Panel(msgspec.Struct, frozen=True, kw_only=True):
    """One name that stands for several tests, or for a timed series of draws.

    `anchor` is what the minutes of a series count from: a key of the anchors in `data/moments.toml`, None for the first
    draw. `of` names the drug or drink of that anchor.
    """

    key: str
    name: str
    also: tuple[str, ...] = ()
    codes: Mapping[str, str] = {}
    tests: tuple[str, ...] = ()
    series: tuple[SeriesStep, ...] = ()
    anchor: str | None = None
    of: str | None = None
    basis: Mapping[str, tuple[str, str]] = {}
