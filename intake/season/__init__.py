"""A season: what to order from whom, how many, landing when, so that the expected margin is greatest in the room there is."""

from intake.season.order_model import OrderModel, build_orders
from intake.season.order_plan import Landing, OrderPlan
from intake.season.problem import Kind, Offer, Season, Shipper, Stock, Water
from intake.season.solve_orders import Worth, solve_orders, worth_of

__all__ = [
    "Kind",
    "Landing",
    "Offer",
    "OrderModel",
    "OrderPlan",
    "Season",
    "Shipper",
    "Stock",
    "Water",
    "Worth",
    "build_orders",
    "solve_orders",
    "worth_of",
]
