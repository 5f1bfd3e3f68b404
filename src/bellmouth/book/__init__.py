"""What happened to this car, and when is it next due? The store and the forecast."""

__all__: list[str] = []
