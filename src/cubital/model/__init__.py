"""The vocabulary: frozen records that planning, handling and the adapters share."""

from cubital.model.finding import Finding
from cubital.model.order import Ask, Event, Line, Order, Unsettled
from cubital.model.patient import Patient, Recorded
from cubital.model.plan import Bound, Caution, Choice, Draw, Plan, PlannedTube, Reason, Totals, Unplaced
from cubital.model.site import BenchPolicy, Placing, Planning, Site
from cubital.model.test import Accept, Panel, SeriesStep, Test
from cubital.model.tube import Tube, TubeKind

__all__ = [
    "Accept", "Ask", "BenchPolicy", "Bound", "Caution", "Choice", "Draw", "Event", "Finding", "Line", "Order", "Panel",
    "Patient", "Placing", "Plan", "PlannedTube", "Planning", "Reason", "Recorded", "SeriesStep", "Site", "Test",
    "Totals", "Tube", "TubeKind", "Unplaced", "Unsettled",
]  # fmt: skip
