"""What the standard says: parameters, messages and trouble codes. The table is data, not code."""

from bellmouth.j1979 import codes, messages, parameters

__all__ = ["codes", "messages", "parameters"]
