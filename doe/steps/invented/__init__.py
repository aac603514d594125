"""The invented study of the demo: its brief, and a bench that never existed."""

# Where readings of the demo come from, so that nobody takes them for measurements.
SOURCE = "INVENTED"
