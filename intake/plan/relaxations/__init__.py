"""Relaxations of the model and the lower bounds they prove."""
