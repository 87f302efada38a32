"""Units and words live in `model.words.display`; this is its name in the pages."""

from model.words.display import *  # noqa: F403
