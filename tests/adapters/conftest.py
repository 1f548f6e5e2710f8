"""How do the property tests of the adapters run? Without a deadline: a busy machine is no fault of the code."""

from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
