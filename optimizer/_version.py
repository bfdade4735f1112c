"""The version, kept alone so that `limbtrim --version` imports nothing else."""

__version__ = "0.1.0"
