"""Attacks on the program: what pytest tries again at every run, and scripts that take minutes.

A script is run by hand, `python -m tests.attack.NAME`, and says what it tried and what came of it. The outcomes stand
in `docs/explanation/trust.md`.
"""
