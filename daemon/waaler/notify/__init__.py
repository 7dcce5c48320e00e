"""Messages to the outside: a process of its own that follows the records."""
