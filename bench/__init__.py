"""Measurements of planning: ratios to general solvers in one run, a million orders, and the start of the prompt."""
