"""The guided walk that finds mistakes of the wiring before water does, and its record."""
