"""One layout and everything true of it, from first principles."""
