"""Which open alert is the cause of which, among those that it could be."""

from collections.abc import Sequence

from alerts.folding import LINK, RANK, folds, unknowable
from alerts.life import HIDDEN, State
from daemon.alert import Alert


def cause_among(
    alert: Alert, priority: str, here: Sequence[Alert], old: Alert | None, elsewhere: Alert | None
) -> Alert | None:
    """The alert that ``alert``, pressing by ``priority``, is to be folded under; None where it stands for itself.

    ``here`` are the others of its bay, ``old`` is what it is folded under so far, ``elsewhere`` the bay on the same
    link that was missed first.
    """
    rule = alert.kept.rule
    if unknowable(rule, priority):
        for one in here:
            if one.kept.rule == LINK and one.life.active and not one.life.hidden - {State.SUPPRESSED}:
                return one
    if old is not None and old.rank >= RANK[priority] and (old.kept.rule != LINK or rule == LINK):
        return old
    if rule == LINK:
        here = [elsewhere] if elsewhere is not None else []
    causes = [
        one
        for one in here
        if one.life.state not in HIDDEN
        and one.life.state is not State.NORMAL
        and folds(one.kept.rule, one.kept.priority, rule, priority, alert.raised_s - one.raised_s)
    ]
    return min(causes, key=lambda one: one.raised_s, default=None)


def effects_among(root: Alert, here: Sequence[Alert]) -> list[Alert]:
    """Those of the same bay that ``root``, just raised, explains though they came before it, pressing less."""
    open_here = [one for one in here if one is not root and one.life.active and one.life.state not in HIDDEN]
    kept = root.kept
    if kept.rule == LINK:
        return [one for one in open_here if unknowable(one.kept.rule, one.kept.priority)]
    if root.life.state in HIDDEN:
        return []
    return [
        one
        for one in open_here
        if root.rank > one.rank
        and folds(kept.rule, kept.priority, one.kept.rule, one.kept.priority, root.raised_s - one.raised_s)
    ]


def why(root: Alert) -> str:
    """The note of a change that folds something under ``root``."""
    what = "nothing of it can be known:" if root.kept.rule == LINK else "an effect of"
    return f"{what} alert {root.kept.id}, {root.kept.rule} on {root.kept.bay}"
