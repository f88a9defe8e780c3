"""What holds for every test."""

from hypothesis import settings

# No test is timed: how long an example takes says how busy the machine is. The same examples every
# time: a change is judged by what it did, not by what chance drew that day. Other ones are drawn
# by ``--hypothesis-profile=chance``, which is a command of its own.
settings.register_profile("same", deadline=None, derandomize=True)
settings.register_profile("chance", deadline=None)
settings.load_profile("same")


def pytest_make_parametrize_id(val: object, argname: str) -> str | None:
    """Name bytes by their argument: an archive holds the time, and processes must agree on ids."""
    return argname if isinstance(val, bytes) else None
