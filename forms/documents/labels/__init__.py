"""Labels: sheets and rolls by their dimensions, labels of boxes, labels that hang at vats."""
