"""Everything that is read from disk or kept there."""
