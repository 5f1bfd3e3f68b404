"""What must be done when, and was it? Procedures, judge, coach."""

__all__: list[str] = []
