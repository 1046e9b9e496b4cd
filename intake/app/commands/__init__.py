"""Acts: each function is one command and writes in one transaction."""
