"""The simulated bed, its sensors and their faults. Pure."""
