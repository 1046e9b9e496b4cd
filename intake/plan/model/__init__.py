"""The mathematical model: exact program, rows, objectives, occupancy, eligibility."""
