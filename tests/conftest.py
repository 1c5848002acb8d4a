"""What holds for every test: no test measures time, so no example of a law fails for being slow on a busy machine."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
