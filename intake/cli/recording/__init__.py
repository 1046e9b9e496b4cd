"""Commands that record what happened."""
