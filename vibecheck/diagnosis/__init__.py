"""Where what turns and what is heard meet: matching, evidence, verdicts, comparison."""
