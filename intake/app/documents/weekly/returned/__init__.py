"""Values typed into a returned intake sheet, read back into the ledger."""
