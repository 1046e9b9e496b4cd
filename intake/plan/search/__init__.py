"""Heuristic search: construction, large neighbourhood search, driver."""
