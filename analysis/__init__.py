"""After the bench: readings to responses, models, the compromise, figures and the report."""
