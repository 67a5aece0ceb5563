"""The entry point: ``python -m advisor`` and ``advisor``."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from advisor.front.cli import app

    app()


if __name__ == "__main__":
    main()
