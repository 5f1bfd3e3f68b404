"""What the owner knows about this car."""

from bellmouth.car.complaint import COMPLAINTS, parse_complaint
from bellmouth.car.description import Car, Complaint, Known, Metering
from bellmouth.car.reader import car_from_mapping, read_car

__all__ = [
    "COMPLAINTS",
    "Car",
    "Complaint",
    "Known",
    "Metering",
    "car_from_mapping",
    "parse_complaint",
    "read_car",
]
