"""vibecheck: hear which part of a gear-head machine tool is at fault."""

__version__ = "0.1.0"
