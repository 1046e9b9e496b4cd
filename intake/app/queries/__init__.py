"""Questions: each function reads and writes nothing."""
