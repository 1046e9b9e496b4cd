"""What a plan is used for: reliefs, capacity, re-planning, vat space."""
