"""What phones at the vats send: told once, however often it arrives."""
