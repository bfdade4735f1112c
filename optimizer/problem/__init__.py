"""From a setting to plain arrays, and what can be ruled out before solving."""
