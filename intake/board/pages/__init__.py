"""Handlers of the board's pages: each takes what was asked, calls one desk function, and shows the answer."""
