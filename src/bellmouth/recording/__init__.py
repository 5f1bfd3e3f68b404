"""What was measured, and is it good enough?"""

from bellmouth.recording.quality import Missing, ParameterQuality, Piece, Quality, assess
from bellmouth.recording.readers import read_recording
from bellmouth.recording.series import Recording, Series
from bellmouth.recording.steady import stretches
from bellmouth.recording.stretch import Reading, Stretch

__all__ = [
    "Missing",
    "ParameterQuality",
    "Piece",
    "Quality",
    "Reading",
    "Recording",
    "Series",
    "Stretch",
    "assess",
    "read_recording",
    "stretches",
]
