"""Losses, alarms, suppliers, claims, permits, audit."""
