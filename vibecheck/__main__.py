"""``python -m vibecheck``."""

from vibecheck.cli import main

main()
