"""The receiving day at the desk (filled in when its room lands)."""
