"""limbtrim: decides where the parts of a worn device go."""

from optimizer._version import __version__

__all__ = ["__version__"]
