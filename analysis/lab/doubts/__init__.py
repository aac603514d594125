"""Doubts about what came from the bench, one small module a doubt."""
