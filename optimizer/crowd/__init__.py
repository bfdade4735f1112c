"""One garment, many bodies."""
