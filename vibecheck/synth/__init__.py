"""Invented machines that make invented recordings, with the truth known."""
