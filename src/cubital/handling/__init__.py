"""After the draw: each specimen's state, its clock, its spin, its receipt, what can be added or must be redrawn."""
