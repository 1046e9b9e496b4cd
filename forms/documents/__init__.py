"""One file a form."""
