"""Handlers of the board's pages: each takes what was asked, calls one function of the app, and shows the answer."""
