"""What stands on the shelf: tube kinds and the stock sizes each comes in."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

import msgspec

from cubital.model.vocabulary import AccessKey, AdditiveKey, MatrixKey


class Tube(msgspec.Struct, frozen=True, kw_only=True):
    """One stock size of a kind.

    `in_stock` None means the site does not count this size; `expires` is the last day it may be used;
    `diameter_um` is its outer diameter, which a centrifuge's places are for, None where the site does not say it.
    """

    draw_ul: int
    liquid_additive_ul: int = 0
    in_stock: int | None = None
    expires: date | None = None
    diameter_um: int | None = None


class TubeKind(msgspec.Struct, frozen=True, kw_only=True):
    """Additive, gel and closure traits in the stock sizes of this site.

    `use` narrows what the kind is kept for (`trace-element`, `blood-bank`, …); `accesses` None
    means that every access can fill it. `stopper` and `mark` are for people, never for rules.
    """

    key: str
    name: str
    additive: AdditiveKey
    gel: bool = False
    sizes: tuple[Tube, ...]
    dead_volume_ul: Mapping[MatrixKey, int] = {}
    stopper: str | None = None
    mark: str = ""
    use: str | None = None
    material: str | None = None
    accesses: tuple[AccessKey, ...] | None = None
    fill_min_percent: int | None = None
    inversions: int | None = None
    basis: str = "site"
    source: str = "site"

    def diameter_um_of(self, draw_ul: int) -> int | None:
        """The outer diameter of this size; None where the site does not say it, or says several."""
        found = {size.diameter_um for size in self.sizes if size.draw_ul == draw_ul}
        return found.pop() if len(found) == 1 else None

    def can_be_filled_by(self, access: str) -> bool:
        """Whether the site says that this access can fill this kind."""
        return self.accesses is None or access in self.accesses
