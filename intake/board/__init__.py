"""The board: pages of the farm on its own network, the count page at the vats, sign-in, and calendar addresses.

It shows what queries answer and hands what people record to commands of the app; it knows no rule of the trade.
"""
