"""The invented farm walked through six weeks, recorded through the app."""
