"""With nothing known of the machine: which tones there are, and what usually makes such tones."""
