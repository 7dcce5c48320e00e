"""The guard's own process: lines, journal, the pipe to the keeper and a socket for `stop`. Nothing else holds the
pump.
"""
