"""How things stand, as the watch has judged them."""

from collections import defaultdict
from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.answers import Judgement
from model.records.tables import Verdict

LISTED = 2_000
"""Of more than this many things all verdicts of their kind are read: a database takes only so long a list."""


def judgements(session: Session, kind: str, ids: Sequence[int] | None = None) -> defaultdict[int, Judgement]:
    """The verdict on each thing of a kind, by its id; on what was not judged yet, one that says so.

    Parameters
    ----------
    kind : str
        fit, stack, place, sensor or piece.
    ids : sequence of int, optional
        Which are asked for; all when there are none.
    """
    # Columns, not rows to be kept track of: a page asks for hundreds and changes none.
    wanted = select(
        Verdict.subject_id,
        Verdict.verdict,
        Verdict.reason,
        Verdict.detail,
        Verdict.since_at,
        Verdict.evaluated_at,
    ).where(Verdict.subject_kind == kind)
    if ids is not None and len(ids) <= LISTED:
        wanted = wanted.where(Verdict.subject_id.in_(ids))
    found: defaultdict[int, Judgement] = defaultdict(Judgement)
    for number, verdict, reason, detail, since_at, evaluated_at in session.execute(wanted):
        found[number] = Judgement(verdict, reason, detail, since_at, evaluated_at)
    return found
