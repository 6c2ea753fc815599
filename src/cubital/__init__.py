"""Works out a blood draw: which tubes, how many, in which order, how full, and why.

    import cubital

    site = cubital.read_site("our-hospital")
    order = cubital.read_order('{"patient": {"age": "4 a", "weight_kg": 18}, "tests": ["K", "CBC"]}')
    plan = cubital.plan(order, site)

Everything public is loaded when it is first used, so that the import costs little.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cubital import errors
    from cubital.app.draws import plan_order as plan
    from cubital.app.draws import plan_orders as plan_many
    from cubital.app.draws import verify_plan as verify
    from cubital.app.suspicion import suspect
    from cubital.app.wiring import open_site as read_site
    from cubital.app.wiring import read_order
    from cubital.app.wiring import read_samples as read_results
    from cubital.model import Ask, Order, Patient, Plan, Site

__version__ = "0.1.0"

__all__ = [
    "Ask",
    "Order",
    "Patient",
    "Plan",
    "Site",
    "errors",
    "plan",
    "plan_many",
    "read_order",
    "read_results",
    "read_site",
    "suspect",
    "verify",
]

_HOMES = {
    "Ask": ("cubital.model", "Ask"),
    "Order": ("cubital.model", "Order"),
    "Patient": ("cubital.model", "Patient"),
    "Plan": ("cubital.model", "Plan"),
    "Site": ("cubital.model", "Site"),
    "plan": ("cubital.app.draws", "plan_order"),
    "plan_many": ("cubital.app.draws", "plan_orders"),
    "read_order": ("cubital.app.wiring", "read_order"),
    "read_results": ("cubital.app.wiring", "read_samples"),
    "read_site": ("cubital.app.wiring", "open_site"),
    "suspect": ("cubital.app.suspicion", "suspect"),
    "verify": ("cubital.app.draws", "verify_plan"),
}


if not TYPE_CHECKING:  # A type checker that saw it would take every misspelt name for something.

    def __getattr__(name: str) -> Any:
        import importlib

        if name == "errors":
            return importlib.import_module("cubital.errors")
        if name not in _HOMES:
            raise AttributeError(f"module 'cubital' has no attribute {name!r}")
        module, member = _HOMES[name]
        found = getattr(importlib.import_module(module), member)
        globals()[name] = found
        return found


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
