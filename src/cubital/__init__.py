"""Works out a blood draw: which tubes, how many, in which order, how full, and why."""

__version__ = "0.1.0"
