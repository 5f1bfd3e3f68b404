"""Can I try it with no car? Practice cars: simulated engines, controllers and recordings.

``population.draw`` makes cases, ``scenario.run`` turns them into recordings with their truth;
``live.PracticeCar`` is a car to talk to. The engine is stepped in time and shares no evaluation
code with ``finding``.
"""

from bellmouth.practice.live import PracticeCar
from bellmouth.practice.population import VARIANTS, Case, draw
from bellmouth.practice.scenario import SimulatedCase, Truth, run, run_reference

__all__ = [
    "VARIANTS",
    "Case",
    "PracticeCar",
    "SimulatedCase",
    "Truth",
    "draw",
    "run",
    "run_reference",
]
