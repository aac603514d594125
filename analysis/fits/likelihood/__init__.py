"""Readings off the scale, ratings and counts, by maximum likelihood."""
