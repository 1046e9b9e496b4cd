"""The board for programs: every page as JSON, what changed as it happens, and the description of both."""
