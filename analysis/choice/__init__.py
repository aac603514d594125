"""Desirability and the search for the compromise."""
