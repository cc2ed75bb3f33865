"""Current, rails, wire, fuse, supply, cost."""
