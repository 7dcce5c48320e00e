"""What all tests share."""

from hypothesis import settings

# a busy machine is no fault of the code
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
