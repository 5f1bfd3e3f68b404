"""How do we talk to a car? Links, the client, guided capture."""

__all__: list[str] = []
