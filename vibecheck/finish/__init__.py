"""Marks on the work: roughness, spacing, chatter."""
