"""Calendar events and their publication."""
