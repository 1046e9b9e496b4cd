"""The season: what to order, how many, landing when, and how sure a plan is."""
