"""What a plan takes of a patient, worked out once for patients whom planning treats alike."""

from __future__ import annotations

from fractions import Fraction

import msgspec

from cubital.model import Patient, Reason, Site
from cubital.planning.patient import PRETERM, Limit, age_class, planning_hematocrit, sampling_limit

_KEPT = 100_000


class AssumedHematocrit(msgspec.Struct, frozen=True, eq=False):
    """The hematocrit a plan takes, whether it was measured, and the reason that says so.

    One value of one site is one object, so that it is compared by identity: a fraction is slow to hash.
    """

    value: Fraction
    is_measured: bool
    reason: Reason


class Bedside:
    """The hematocrits and blood limits of one site's patients."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._by_likeness: dict[tuple[int, str | None], AssumedHematocrit] = {}
        self._by_value: dict[tuple[int, int, bool], AssumedHematocrit] = {}
        self._limits: dict[tuple[int, str | None, int | None, int | None, bool], Limit] = {}

    def hematocrit(self, patient: Patient) -> AssumedHematocrit:
        """The patient's own hematocrit, else the site's or the shipped one for age and sex."""
        if patient.hematocrit is not None:
            return self._taken(patient.hematocrit, is_measured=True)
        likeness = (age_class(patient.age_h), patient.sex)
        found = self._by_likeness.get(likeness)
        if found is None:
            found = self._taken(planning_hematocrit(patient, self._site), is_measured=False)
            self._by_likeness[likeness] = found
        return found

    def _taken(self, hematocrit: Fraction, *, is_measured: bool) -> AssumedHematocrit:
        key = (hematocrit.numerator, hematocrit.denominator, is_measured)
        found = self._by_value.get(key)
        if found is None:
            source = "measured" if is_measured else "taken for planning, not measured"
            text = f"hematocrit {float(hematocrit):.2f}, {source}"
            reason = Reason(about="plan", text=text, basis="computed", sources=())
            found = self._by_value[key] = AssumedHematocrit(hematocrit, is_measured, reason)
        return found

    def limit(self, patient: Patient) -> Limit:
        """The site's blood limit for this patient."""
        key = (
            age_class(patient.age_h), patient.sex, patient.weight_g, patient.height_mm, PRETERM in patient.flags,
        )  # fmt: skip
        found = self._limits.get(key)
        if found is None:
            if len(self._limits) >= _KEPT:
                self._limits.clear()
            found = self._limits[key] = sampling_limit(patient, self._site)
        return found
