"""The page at the car: the whole job in a browser on this machine."""

__all__: list[str] = []
