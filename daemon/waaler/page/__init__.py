"""The read-only web page: a process of its own that follows the records and asks the daemon nothing."""
