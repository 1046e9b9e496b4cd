"""The board: pages of the farm on its own network, the count page at the vats, sign-in, and calendar addresses.

It shows what desk functions say and hands what people record to desk functions; it knows no rule of the trade.
"""
