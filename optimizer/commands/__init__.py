"""One small module per command: ask, and hand the answer to a view."""
