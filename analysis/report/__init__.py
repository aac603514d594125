"""The report: page, tables, rounding."""
