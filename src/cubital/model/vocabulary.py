"""The closed word lists of the contract: what a site, an order and a plan may say."""

from __future__ import annotations

from typing import Literal, get_args

AdditiveKey = Literal[
    "sps", "culture-medium", "none", "clot-activator", "thrombin", "citrate-9-1", "citrate-4-1",
    "lithium-heparin", "sodium-heparin", "ammonium-heparin", "k2-edta", "k3-edta", "acd-a", "acd-b",
    "fluoride-oxalate", "fluoride-edta", "fluoride-heparin", "iodoacetate-heparin",
]  # fmt: skip
MatrixKey = Literal["whole-blood", "plasma", "serum"]
AccessKey = Literal["straight-needle", "winged-set", "syringe", "skin-puncture", "line"]
ObjectiveKey = Literal["fewest-tubes", "least-blood"]
PriorityKey = Literal["stat", "timed", "routine"]
PurposeKey = Literal["collect", "discard", "culture"]
SexKey = Literal["female", "male"]

ADDITIVES: tuple[str, ...] = get_args(AdditiveKey)
MATRICES: tuple[MatrixKey, ...] = get_args(MatrixKey)
ACCESSES: tuple[str, ...] = get_args(AccessKey)
OBJECTIVES: tuple[str, ...] = get_args(ObjectiveKey)
PRIORITIES: tuple[PriorityKey, ...] = get_args(PriorityKey)
SEXES: tuple[str, ...] = get_args(SexKey)
