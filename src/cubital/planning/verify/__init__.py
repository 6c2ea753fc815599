"""Is this plan sound? Re-derived from site and order alone; shares no code with the planner."""

from cubital.planning.verify.verdict import verify

__all__ = ["verify"]
