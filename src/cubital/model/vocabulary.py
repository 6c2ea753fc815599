"""The closed word lists of the contract: what a site, an order and a plan may say."""

from __future__ import annotations

from typing import Literal, get_args

AdditiveKey = Literal[
    "sps", "culture-medium", "none", "clot-activator", "thrombin", "citrate-9-1", "citrate-4-1",
    "lithium-heparin", "sodium-heparin", "ammonium-heparin", "k2-edta", "k3-edta", "acd-a", "acd-b",
    "fluoride-oxalate", "fluoride-edta", "fluoride-heparin", "iodoacetate-heparin", "perchloric-acid",
]  # fmt: skip
MatrixKey = Literal["whole-blood", "plasma", "serum"]
AccessKey = Literal["straight-needle", "winged-set", "syringe", "skin-puncture", "line"]
# `by-patient`: `liked-kinds` far from the blood limit, `fewest-tubes` near it and for children.
ObjectiveKey = Literal["by-patient", "liked-kinds", "fewest-tubes", "least-blood"]
RankKey = Literal["before-treatment", "cannot-wait", "decides-today", "useful-today", "can-wait"]
LineDiscardKey = Literal["thrown-away", "returned"]
VolumeKey = Literal["typical", "minimum"]
WindowsKey = Literal["strict", "extended"]
PriorityKey = Literal["stat", "timed", "routine"]
PurposeKey = Literal["collect", "discard", "culture"]
TroubleKey = Literal["unknown", "ambiguous", "not-blood"]
SexKey = Literal["female", "male"]

ADDITIVES: tuple[str, ...] = get_args(AdditiveKey)
MATRICES: tuple[MatrixKey, ...] = get_args(MatrixKey)
ACCESSES: tuple[str, ...] = get_args(AccessKey)
OBJECTIVES: tuple[str, ...] = get_args(ObjectiveKey)
RANKS: tuple[RankKey, ...] = get_args(RankKey)
LINE_DISCARDS: tuple[LineDiscardKey, ...] = get_args(LineDiscardKey)
WINDOWS: tuple[WindowsKey, ...] = get_args(WindowsKey)
PRIORITIES: tuple[PriorityKey, ...] = get_args(PriorityKey)
SEXES: tuple[str, ...] = get_args(SexKey)
