"""The core on the simulated bed, faster than time."""
