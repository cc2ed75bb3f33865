"""From a target colour to the bytes that come closest on a given LED part."""
