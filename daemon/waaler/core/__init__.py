"""The decisions and the guard joined, stepped by events. Pure: no clock, pin, file or thread."""
