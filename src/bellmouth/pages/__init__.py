"""The faces: a finding or a recording's quality on the terminal, as JSON, as a page."""

__all__: list[str] = []
