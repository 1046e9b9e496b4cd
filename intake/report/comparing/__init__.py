"""How suppliers and journeys compare: shares with shipments as clusters, past shipments, and what the next may lose."""
