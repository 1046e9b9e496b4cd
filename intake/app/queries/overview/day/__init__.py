"""What a person asks through the day: today at a glance, the round, what may be sold."""
