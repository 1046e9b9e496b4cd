"""What each paper says, gathered from farm and ledger."""
