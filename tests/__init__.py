"""Tests, named after the facts they check."""
