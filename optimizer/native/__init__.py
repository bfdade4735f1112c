"""Compiled parts: the searches in which millions of small steps are taken.

There may be none, for want of a C compiler when limbtrim was installed: `library()` tells.
"""

from optimizer.native.library import library

__all__ = ["library"]
