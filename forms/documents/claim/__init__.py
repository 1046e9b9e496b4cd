"""The claim: its content, the blocks it is made of, the form."""
