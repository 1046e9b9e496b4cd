"""The calendar feeds, judged by readers that know nothing of us."""
