"""What the bench says of a hemolyzed specimen: heparin plasma of a vein or of a skin puncture, one index."""

from __future__ import annotations

from decimal import Decimal

from msgspec.structs import replace

from cubital.handling.faults import Fault
from cubital.handling.indices import index_faults
from cubital.handling.record import state_of
from cubital.model import BenchPolicy, Site
from cubital.model.specimen import Specimen
from cubital.model.vocabulary import AccessKey
from tests.contract.events import collected
from tests.published.shipped import SHIPPED

BAND = replace(SHIPPED, bench_policy=BenchPolicy(hemolysis_band=True))


def plasma(kind: str = "heparin-gel", site: Site = SHIPPED, access: AccessKey | None = None) -> Specimen:
    """Plasma of this kind of tube, collected by this access, or by one that nobody recorded."""
    of = site.kinds[kind]
    return state_of([collected("h", kind=kind, additive=of.additive, gel=of.gel, matrix="plasma", access=access)])


def faults_of(
    test: str, grams_per_l: str, *, kind: str = "heparin-gel", site: Site = SHIPPED, access: AccessKey | None = None
) -> list[Fault]:
    """What is commented or refused of one test at this free hemoglobin."""
    indices = {"lipemia": Decimal(0), "icterus": Decimal(0), "hemolysis": Decimal(grams_per_l)}
    found = index_faults(site.tests[test], plasma(kind, site, access), site, indices)  # type: ignore[arg-type]
    return [fault for fault in found if fault.outcome != "untold"]
