"""Property tests look at what comes out, never at how long it took: a busy machine fails no test."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
