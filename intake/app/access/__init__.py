"""People, devices and sign-in."""
