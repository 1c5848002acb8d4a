"""What holds for every test: none measures time, and the suite says the same each time it is run on the same code.

The laws draw the same examples in each run, so a red suite can be run again and looked at. `python3 dev.py seeds` runs them with
fresh ones, by the profile of that name.
"""

from hypothesis import settings

settings.register_profile("same", deadline=None, derandomize=True)
settings.register_profile("fresh", deadline=None)
settings.load_profile("same")
