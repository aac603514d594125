"""Confirmation and the record of what the team chose."""
