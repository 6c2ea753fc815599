"""Independent answers to one packing question by brute force, HiGHS and CP-SAT; none imports the planner."""
