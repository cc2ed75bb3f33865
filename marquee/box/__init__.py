"""The light box behind the face: walls, LED places, light."""
