"""What do I do with my hands? The job card."""

__all__: list[str] = []
