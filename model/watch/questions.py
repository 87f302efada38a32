"""The three questions: glue up today, is this stack ready, and what may a client be told."""

from model.watch.advice import advice
from model.watch.answer import Answer, Reason
from model.watch.glue_up import glue_up
from model.watch.outlook_run import outlook_document
from model.watch.ready import ready

__all__ = ["Answer", "Reason", "advice", "glue_up", "outlook_document", "ready"]
