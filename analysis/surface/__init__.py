"""What a fit says about places: prediction, room before a limit."""
