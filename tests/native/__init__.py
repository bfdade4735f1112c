"""The compiled parts, where limbtrim was installed with a C compiler."""

import pytest

from optimizer.native import library

#: Leaves a test out where there are no compiled parts.
NEEDS_COMPILED = pytest.mark.skipif(library() is None, reason="there are no compiled parts")
