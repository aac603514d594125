"""One function a command: read, compute, write, return a value."""
