"""A message about warnings, as it is read: its title and its body."""

from collections.abc import Sequence

from model.records.schema.tables import Warning
from model.watch.state.humidity import lever_reasons
from model.wood.reason import Reason
from model.words.display import Display, plain
from model.words.reasons import METRIC, in_sentences

OPENED, ESCALATED, PAST = STAGES = ("opened", "escalated", "past")
CLEARED = "cleared"
WORSE = {ESCALATED: (Reason("notice-worse"),), PAST: (Reason("notice-past"),)}


def message(
    told: Sequence[tuple[str, Warning]],
    again: bool = False,
    display: Display = METRIC,
    open_still: Sequence[Warning] = (),
) -> tuple[str, str]:
    """Title and body of one message about some warnings; those `open_still` come after, in a line each."""
    lines = [f"{_subject(warning)}: {_line(stage, warning, display)}" for stage, warning in told]
    lines += [
        f"{in_sentences(Reason('notice-open-still'))} {_subject(warning)}: {_line('', warning, display)}"
        for warning in open_still
    ]
    if len(told) == 1:
        ((stage, warning),) = told
        title = f"paneltide: {_subject(warning)}{', clear again' if stage == CLEARED else ''}"
    else:
        title = f"paneltide: {len(told)} things to look at"
    first = [in_sentences(Reason("notice-again"))] if again else []
    return title, plain("\n\n".join([*first, *lines, in_sentences(Reason("notice-foot"))]))


def _subject(warning: Warning) -> str:
    detail = warning.detail
    names = [detail.get(key) for key in ("piece", "fit", "place", "sensor", "stack")]
    return ", ".join(str(name) for name in names if name) or warning.subject_kind


def _line(stage: str, warning: Warning, display: Display) -> str:
    if stage == CLEARED and warning.reason.key != "withdrawn":
        return in_sentences(Reason("notice-clear", {"was": warning.reason}), display)
    lever = warning.detail.get("lever")
    held = lever_reasons(lever) if lever else ()
    return in_sentences([*WORSE.get(stage, ()), warning.reason, *held], display)
