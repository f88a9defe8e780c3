"""What holds for every test."""

from hypothesis import settings

# No test is timed: how long an example takes says how busy the machine is.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
