"""What turns, and how often: parts, train, bearings, tones. No samples here."""
