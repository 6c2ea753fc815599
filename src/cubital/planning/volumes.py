"""How much of each test's matrix a plan makes room for."""

from __future__ import annotations

from typing import NamedTuple

from cubital.model.vocabulary import VolumeKey


class Volumes(NamedTuple):
    """Typical or minimum volumes, and the share of each that is kept besides for a repeat, in percent."""

    key: VolumeKey
    reserve_percent: int = 0


TYPICAL = Volumes("typical")
MINIMUM = Volumes("minimum")
