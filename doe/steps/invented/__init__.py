"""The invented study of the demo: its brief, and a bench that never existed."""
