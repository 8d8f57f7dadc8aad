"""Recording at the machine: sound card, phone, and whether a take is any good."""
