"""Waaler keeps the water of one recirculating growing bed: plan, guard, sensors, record."""

__all__ = ["__version__"]

__version__ = "0.1.0"
