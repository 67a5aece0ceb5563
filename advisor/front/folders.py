"""Where the program keeps what it writes."""

from __future__ import annotations

import os
from pathlib import Path


def state_folder() -> Path:
    """Where session logs go when nothing else is said."""
    return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "door-hardware-advisor"
