"""What all tests share."""

from __future__ import annotations

import os

# Before Qt is imported anywhere: the tests need no screen.
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
# What is said is asserted in English, whatever the machine speaks.
os.environ["LANGUAGE"] = "en"
