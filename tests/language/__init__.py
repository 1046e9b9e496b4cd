"""Tests of the languages: the catalogue whole, placeholders kept, figures the same, nothing cut."""
