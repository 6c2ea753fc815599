"""Invented sites and orders for tests and races, from a seeded random source; no volume here is a fact."""

from tests.generators.cases import FAMILIES, Case, hard, medium, realistic, small

__all__ = ["FAMILIES", "Case", "hard", "medium", "realistic", "small"]
