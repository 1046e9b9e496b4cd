"""Keeping the ledger: copies of it and of the whole farm, and what a wrong clock or an old copy asks for."""
