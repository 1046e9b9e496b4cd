"""Invented packing lists in many layouts and languages, each with its true reading; no supplier in them is real."""
