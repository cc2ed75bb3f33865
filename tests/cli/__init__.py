"""The command line, run as a maker runs it."""
