"""Planning as daily work: several signs, watching, comparing, calling from Python."""
