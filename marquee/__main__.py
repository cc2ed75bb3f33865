"""`python -m marquee`."""

from marquee.cli import main

if __name__ == "__main__":
    main()
