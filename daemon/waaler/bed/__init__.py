"""WHAT the bed is: hydraulics, uniformity, water demand, sump budget. Pure."""
