"""Figures with their published sources, as data files."""
