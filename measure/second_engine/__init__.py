"""A second simulated population, written apart from the practice car and from the finding.

Whoever tunes a tool on one simulator learns that simulator. These engines are made from textbook
equations by somebody who had read neither the finding nor the practice car, share no code with
either, and are never used to develop anything: what the finding scores on them says how much of
its accuracy comes from knowing the engines it grew up with.

``python -m measure.second_engine --cases 400 --seed 2`` draws cars, runs them, writes what a
logger would write, lets ``bellmouth.find`` judge it, and prints the usual figures.
"""
