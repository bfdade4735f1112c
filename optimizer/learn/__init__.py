"""A laboratory's own treadmill trials as an energy model, the literature as prior."""
