"""Every part with every way to go wrong, and which of them explain all readings together."""
