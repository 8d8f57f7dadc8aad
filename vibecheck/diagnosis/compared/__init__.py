"""Two sweeps or many of one machine held against each other, line by line."""
