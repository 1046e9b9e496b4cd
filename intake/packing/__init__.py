"""Packing lists: read as they came, understood line by line, turned into a shipment and its batches."""
