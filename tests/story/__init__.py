"""The whole path on the invented farm, walked once and looked at from many sides."""
