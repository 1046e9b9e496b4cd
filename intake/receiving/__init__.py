"""The receiving day: how animals come out of their bags, in which order, at which station, with how much water."""
