"""Everything written from a finished plan; nothing here computes."""
