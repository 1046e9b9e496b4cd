"""What phones at the vats send: recorded once, however often it arrives."""
