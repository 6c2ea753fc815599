"""Attacks that take minutes: run by hand, `python -m tests.attack.NAME`; each says what it tried and what came of it.

What the short tests hold of the same matter stands in `tests/contract`, `tests/whole` and `tests/web`; the outcomes
stand in `docs/explanation/trust.md`.
"""
