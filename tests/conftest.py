"""Settings shared by all tests."""

from __future__ import annotations

import os

from hypothesis import settings

# the machines are shared: a slow example is no failure, and a failure must repeat
settings.register_profile("archwise", deadline=None, derandomize=True, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "archwise"))
