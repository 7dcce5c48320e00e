"""Pins and probes, real and simulated, behind small protocols."""
