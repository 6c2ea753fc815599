"""Requisitions with what an expert laboratory would do with each: kinds, draws, what is left out, what must be said."""
