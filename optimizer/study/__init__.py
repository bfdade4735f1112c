"""What a person writes: the study file, the tables of parts, sites and lines, and overrides."""
