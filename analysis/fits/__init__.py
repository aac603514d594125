"""Models of the responses and the checks on them."""
