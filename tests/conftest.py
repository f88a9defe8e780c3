"""What holds for every test."""

from hypothesis import settings

# No test is timed: how long an example takes says how busy the machine is.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_make_parametrize_id(val: object, argname: str) -> str | None:
    """Name bytes by their argument: an archive holds the time, and processes must agree on ids."""
    return argname if isinstance(val, bytes) else None
