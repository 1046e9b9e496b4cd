"""The invented farm walked through six weeks, told through the app."""
