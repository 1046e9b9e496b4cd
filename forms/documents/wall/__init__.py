"""The plan for the wall: its content, the list for each morning, the picture."""
