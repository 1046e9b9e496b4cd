"""When deaths are more than chance: a batch, a water or the farm against what is usual, and charts of shares."""
