"""Draws one SVG in a process of its own, run as a file: a drawing that never ends or eats all memory ends here."""

from __future__ import annotations

import sys


def main(memory_bytes: int, seconds: int, with_fonts: int) -> int:
    """Read an SVG on stdin and write a PNG on stdout; return 3 with the reason on stderr where it cannot be drawn."""
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (memory_bytes, memory_bytes))
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    except (ImportError, ValueError, OSError):
        pass  # not on this platform; the caller's clock still holds
    import resvg_py

    text = sys.stdin.buffer.read().decode("utf-8")
    try:
        drawn = resvg_py.svg_to_bytes(svg_string=text, dpi=96, skip_system_fonts=not with_fonts)
    except ValueError as error:
        sys.stderr.write(str(error))
        return 3
    sys.stdout.buffer.write(bytes(drawn))
    return 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
