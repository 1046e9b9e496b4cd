"""Claims: what was counted, what the terms leave of it, what it is worth, and how far the claim has come."""
