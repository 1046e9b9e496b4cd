"""A new farm: its commented file, or one written from a few answers and a table of vats."""
