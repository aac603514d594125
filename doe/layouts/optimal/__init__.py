"""Plans made for the region and the model at hand, by exchange of rows."""
