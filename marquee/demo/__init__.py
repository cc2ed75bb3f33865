"""The packaged demo: a fictional venue."""
