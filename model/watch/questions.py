"""The questions asked of the whole book: glue up today, what will a piece do."""

from model.watch.answer import Answer
from model.watch.glue_up import glue_up

__all__ = ["Answer", "glue_up"]
