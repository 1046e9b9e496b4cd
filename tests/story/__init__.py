"""The whole path on the invented farm, told once and looked at from many sides."""
