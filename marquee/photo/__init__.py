"""Photographs of the lit sign: where the face lies on them, and what they tell against the plan."""
