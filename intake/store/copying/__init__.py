"""Copies on disk: of the ledger, of a whole farm in one archive, and which of them are kept."""
