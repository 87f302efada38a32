"""What a maker asks: glue up today, is this stack ready, and what will this piece do."""

from model.watch.answer import Answer, Reason
from model.watch.glue_up import glue_up
from model.watch.outlook_run import outlook_document
from model.watch.ready import ready

__all__ = ["Answer", "Reason", "glue_up", "outlook_document", "ready"]
