"""What a plan takes of a patient, worked out once for patients whom planning treats alike."""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction

import msgspec

from cubital.facts import flag_word
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
        self._limits: dict[object, Limit] = {}
        ages_d = {age for limit in site.limits.values() for cap in limit.caps for age in (cap.age_min_d, cap.age_max_d)}
        self._turns_h = sorted(24 * age for age in ages_d if age)
        self._programs = frozenset(limit.program for limit in site.limits.values() if limit.program is not None)

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
        key: object = (
            age_class(patient.age_h), patient.sex, patient.weight_g, patient.height_mm, PRETERM in patient.flags,
        )  # fmt: skip
        if self._turns_h or self._programs or patient.recorded:
            key = (key, self._of_own_limits(patient), patient.recorded, patient.recorded and patient.drawn_ul)
        found = self._limits.get(key)
        if found is None:
            if len(self._limits) >= _KEPT:
                self._limits.clear()
            found = self._limits[key] = sampling_limit(patient, self._site)
        return found

    def _of_own_limits(self, patient: Patient) -> object:
        """What of the patient's age and flags changes which of the site's own caps hold."""
        turn = -1 if patient.age_h is None else bisect_right(self._turns_h, patient.age_h)
        return turn, self._programs.intersection(map(flag_word, patient.flags))
