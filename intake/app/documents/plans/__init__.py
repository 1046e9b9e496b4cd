"""Plans as pictures and papers: vat space, what fits by day, the orders of a season."""
