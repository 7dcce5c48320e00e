"""Log lines: for people on a console, or JSON for a collector. The journal adds its own time to either."""

import logging
import sys

import structlog

__all__ = ["log_to"]


def log_to(log_format: str) -> None:
    """`console` or `json`, on the error stream."""
    structlog.configure(
        wrapper_class=structlog.make_filtering_bound_logger(logging.INFO),
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.JSONRenderer()
            if log_format == "json"
            else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty()),
        ],
        logger_factory=structlog.WriteLoggerFactory(sys.stderr),
        cache_logger_on_first_use=True,
    )
