"""Heuristic search: construction, large neighborhood search, driver."""
