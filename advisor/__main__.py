"""The entry point: ``python -m advisor`` and ``advisor``."""

from __future__ import annotations

import gc


def main() -> None:
    """Run the command line."""
    # What is imported and built at the start stays to the end; collecting garbage meanwhile costs a third of the start.
    gc.disable()
    from advisor.front.cli import app

    app()


if __name__ == "__main__":
    main()
