"""What is heard: spectra, envelopes, orders, speed. No gears here."""
