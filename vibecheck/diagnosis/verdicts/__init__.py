"""From judged suspects to findings: who is named, on what evidence, and what to do next."""
