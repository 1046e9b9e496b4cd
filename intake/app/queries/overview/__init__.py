"""The farm now: floor, vats, batches, shipments, work due."""
