"""From readings to responses."""
