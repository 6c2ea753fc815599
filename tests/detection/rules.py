"""Published rules of thumb, each as a question asked of a sample and, where there is one, of its earlier results.

Cornes and others, Ann Clin Biochem 2008;45:601-603: potassium from 6.0 mmol/L asks for zinc; zinc below its range. The
kEDTA reappraisal, J Appl Lab Med 2019: a protocol that a low calcium triggers; its limit was not in what was read, the
lower reference limit of 2.10 is taken. Lorde and others, CCLM 2025;63:1383-1391: sodium from 148 with a gap to chloride
from 47, or with chloride to 105. Yang and others 2024/25: changes of calcium, potassium and glucose (abstracts read).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Values = Mapping[str, Floats]


class Rule(NamedTuple):
    """A rule, its source, the causes it is for, and whether it needs earlier results or zinc."""

    name: str
    source: str
    causes: tuple[str, ...]
    needs_earlier: bool
    ask: Callable[[Values, Values], Flags]
    needs_zinc: bool = False


EDTA, FLUID, CITRATE = ("k2-edta", "k3-edta"), ("saline", "balanced-fluid"), ("sodium-citrate", "citrate-lock")
RULES = (
    Rule("potassium of 6.0 or more", "Cornes 2008", EDTA, False, lambda now, _: now["potassium"] >= 6.0),
    Rule(
        "potassium of 6.0 or more and calcium under 2.10", "reappraisal 2019, its calcium trigger", EDTA, False,
        lambda now, _: (now["potassium"] >= 6.0) & (now["calcium"] < 2.10),
    ),
    Rule("zinc under 10", "Cornes 2008", EDTA, False, lambda now, _: now["zinc"] < 10, needs_zinc=True),
    Rule(
        "sodium of 148 or more, gap to chloride of 47 or more", "Lorde 2025", CITRATE, False,
        lambda now, _: (now["sodium"] >= 148) & (now["sodium"] - now["chloride"] >= 47),
    ),
    Rule(
        "sodium of 148 or more, chloride of 105 or less", "Lorde 2025", CITRATE, False,
        lambda now, _: (now["sodium"] >= 148) & (now["chloride"] <= 105),
    ),
    Rule("calcium down by 24 %", "Yang 2024", FLUID, True, lambda now, then: now["calcium"] <= 0.76 * then["calcium"]),
    Rule("potassium up by 3.0", "Yang 2024", EDTA, True, lambda now, then: now["potassium"] - then["potassium"] >= 3.0),
    Rule(
        "glucose up by 22.2", "Yang 2024", ("dextrose",), True,
        lambda now, then: now["glucose"] - then["glucose"] >= 22.2,
    ),
)  # fmt: skip
