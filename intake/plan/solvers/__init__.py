"""The doors to CP-SAT and HiGHS."""
