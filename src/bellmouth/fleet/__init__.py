"""And for ten thousand cars? A survey runs the same finding over all of them."""

__all__: list[str] = []
