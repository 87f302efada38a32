"""The questions asked of the whole book: glue up today, what will a piece do, what may a client be told."""

from model.watch.advice import advice
from model.watch.answer import Answer, Reason
from model.watch.glue_up import glue_up
from model.watch.outlook_run import outlook_document

__all__ = ["Answer", "Reason", "advice", "glue_up", "outlook_document"]
