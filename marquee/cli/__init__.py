"""The command line: parse, call, save, exit code."""
