"""Three-valued truth over what is still possible: NO < UNKNOWN < YES.

NO holds in no remaining case, YES in every one, UNKNOWN depends on open facts. *All of* is the minimum, *any of* the
maximum, *not* is YES minus the value. They are plain integers because a turn judges conditions by the ten thousand.

The logic does not see that "a or not a" always holds: it says UNKNOWN and names a. That costs a question, never a
wrong answer.
"""

from __future__ import annotations

from typing import Final

NO: Final = 0
UNKNOWN: Final = 1
YES: Final = 2
