"""The working companion of a veterinary anaesthesia technician. It advises and records; a veterinarian orders."""

__version__ = "0.1.0"
