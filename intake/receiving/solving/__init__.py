"""Solves the receiving day: simple rules, a search over orders, the constraint solver, bounds, and re-runs of a kept plan."""
