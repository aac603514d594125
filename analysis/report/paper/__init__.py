"""The report as a PDF for the record: the same page value, on A4."""
