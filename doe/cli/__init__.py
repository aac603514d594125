"""The command line: parse, one step, show, exit."""
