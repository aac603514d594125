"""From settings to numbers: coding, region, terms and the model matrix."""
