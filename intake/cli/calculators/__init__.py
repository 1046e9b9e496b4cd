"""Calculators, usable without a farm."""
