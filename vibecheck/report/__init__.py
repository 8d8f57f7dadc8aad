"""Words, text, pictures, page and sound made from values."""
