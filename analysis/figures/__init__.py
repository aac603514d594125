"""One figure a module: a value in, a Figure out; the only importer of matplotlib."""
