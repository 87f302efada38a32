"""The questions asked of the whole book: glue up today, what will a piece do."""

from model.answers.answer import Answer
from model.watch.questions.glue_up import glue_up

__all__ = ["Answer", "glue_up"]
