"""One layout for several circumstances at once: bodies, speeds, coefficients."""
