"""How the book is made: pages and links, examples that are run, and the reference generated from the code."""
