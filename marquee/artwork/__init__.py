"""Artwork file to flat colours, apertures and zones."""
