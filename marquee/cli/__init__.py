"""The command line: parse, call, save, exit code."""

from marquee.cli.app import main

__all__ = ["main"]
