"""marquee plans the back-lit marquee of a hand-built cabinet, from artwork to firmware constants."""

__version__ = "0.1.0"
