"""What planning asks: announced shipments, promises, needs."""
