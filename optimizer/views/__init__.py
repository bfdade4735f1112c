"""Showing answers: terminal tables, JSON, pandas frames. The views compute nothing."""
