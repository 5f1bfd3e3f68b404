"""``python -m bellmouth``: the command, where the entry point is not on the path."""

from bellmouth.cli import main

__all__: list[str] = []

if __name__ == "__main__":
    main()
