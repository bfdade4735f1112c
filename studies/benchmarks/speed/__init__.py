"""What `compare.py` and `agree.py` are made of."""
