"""Before the bench, and the ground that both packages share: brief, plan, sheets, command line."""

__version__ = "0.1.0"
