"""Commands for the farm as a whole: init, check, demo, serve, backup."""
