"""Independent answers to one packing question: brute force, HiGHS and CP-SAT; none imports cubital.planning."""
