"""Narrow questions to the tables, each answered from an index."""
