"""Where tubes are taken from: one shelf for each access, day and hematocrit, with its order of draw and its rows."""

from __future__ import annotations

from contextlib import suppress
from typing import NamedTuple

from cubital.errors import NoTube
from cubital.model import Site
from cubital.model.vocabulary import ACCESSES
from cubital.planning.choices import Shelf
from cubital.planning.circumstances import Circumstances
from cubital.planning.micro import is_micro
from cubital.planning.rows import Rack
from cubital.planning.sequence import Sequence

_MOST_KEPT = 500


class Stand(NamedTuple):
    """One shelf, the order of draw from it, and its tubes as rows."""

    shelf: Shelf
    sequence: Sequence
    rack: Rack


class Stands:
    """The stands of one site, each set up when it is first needed."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._stands: dict[object, Stand] = {}
        self._sequences: dict[str, Sequence] = {}
        micro = [kind for kind in site.kinds.values() if is_micro(kind)]
        self._by_micro = {access for access in ACCESSES if any(kind.can_be_filled_by(access) for kind in micro)}

    def stand(self, circumstances: Circumstances) -> Stand:
        """The stand for this access, day, hematocrit and time on the way."""
        access, on, hematocrit = circumstances.access, circumstances.on, circumstances.hematocrit.value
        # Where this access fills no micro tube, it makes no difference who may have one.
        spares_blood = circumstances.spares_blood or access not in self._by_micro
        key = (access, on, circumstances.hematocrit, circumstances.travel_min, spares_blood)
        stand = self._stands.get(key)
        if stand is None:
            if len(self._stands) >= _MOST_KEPT:
                self._stands.clear()
            sequence = self.sequence(access)
            refused = {
                kind.key: why for kind in self._site.kinds.values() if (why := sequence.refusal(kind)) is not None
            }
            shelf = Shelf(
                self._site, access=access, on=on, hematocrit=hematocrit, travel_min=circumstances.travel_min,
                spares_blood=spares_blood, refused=refused,
            )
            stand = self._stands[key] = Stand(shelf, sequence, Rack(shelf, sequence, hematocrit))
        return stand

    def sequence(self, access: str) -> Sequence:
        """The order of draw for this access."""
        sequence = self._sequences.get(access)
        if sequence is None:
            sequence = self._sequences[access] = Sequence(self._site, access)
        return sequence

    def prepare(self, circumstances: Circumstances) -> None:
        """Works out what no test asked changes, for this access, day and hematocrit."""
        stand = self.stand(circumstances)
        for test in self._site.tests.values():
            for minimum in (False, True):
                with suppress(NoTube):
                    stand.shelf.alone_for(test, minimum=minimum)
        stand.rack.prepare()
