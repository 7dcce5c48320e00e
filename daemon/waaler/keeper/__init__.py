"""The daemon: threads, clocks, scheduler and control socket around the core."""
