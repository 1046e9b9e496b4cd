"""What may be done to whom, where, and why not: pure judgements over values."""
