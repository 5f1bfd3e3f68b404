"""One module a version of the tables. They are history: never edit one that was released."""

__all__: list[str] = []
