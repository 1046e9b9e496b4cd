"""The command line: parse, call the app, show."""
