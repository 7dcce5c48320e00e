"""What a benchmark ran on, for the line above its figures."""

import os
import platform

__all__ = ["machine"]


def machine() -> str:
    """Python, system, processor and cores."""
    return f"Python {platform.python_version()}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores"
