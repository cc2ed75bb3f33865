"""The house rules: imports, settings, folders."""
