"""The bench: what a maker measured or matched by eye, fitted to the part, remembered for the next sign."""
