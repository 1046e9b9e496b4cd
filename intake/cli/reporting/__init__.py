"""Commands that report and print."""
