"""What holds the knife: by how much it has to widen the sheath on its way out.

A section that is drawn passes every station nearer the throat. Where one of these is narrower
than the section needs, the leather has to give by the difference, and that is what keeps the
knife in. A blade's edge is never squeezed (it would cut), so only sections of the handle
count. Where none has to widen anything, friction alone holds the knife, and it can fall out.

How much give is how firm is our own choice: there is no published figure. What sewing, glue and
forming shift the fit by is about :data:`NONE`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from nest.errors import KnifeError
from nest.knife import Choices
from nest.sheaths.channel import Channel
from nest.sheaths.model import Retention

NONE, FIRM = 0.3, 0.8  # mm of give: below, nothing holds; from the second on it is firm
COVER_STEP = 0.1  # of the handle, from one trial of a remedy to the next
COVER_MOST = 0.85  # advised: the rest is left to pull by

Attempt = Callable[[Choices], Retention]


def retention_of(channel: Channel) -> Retention:
    """How much the sheath has to give when the knife is drawn, and for which section; mm."""
    handle = np.flatnonzero(channel.x[1:] < channel.lie.guard) + 1
    if not len(handle):
        return Retention(0.0, None, "none")
    narrowest = np.minimum.accumulate(channel.available)[handle - 1]  # of all nearer the throat
    gives = channel.needed[handle] - narrowest
    widest = int(np.argmax(gives))
    give = float(gives[widest])
    return Retention(give, float(channel.x[handle[widest]] - channel.lie.shift), _word(give))


def _word(give: float) -> str:
    give = round(give, 1)
    return "none" if give < NONE else "little" if give < FIRM else "firm"


def told(retention: Retention) -> str:
    """The retention in words, figures in mm."""
    word, give, at = retention.word, retention.give, retention.at
    if at is None:
        return f"{word}: the sheath holds the blade alone"
    where = f"{at:.0f} mm from the butt"
    if give < 0.05:
        return f"{word}: the widest section deeper in, {where}, has {-give:.1f} mm to spare"
    return f"{word}: each side gives {give:.1f} mm when the section {where} passes"


def caution_of(retention: Retention, choices: Choices, attempt: Attempt) -> str:
    """What to do where little or nothing holds the knife; empty where it is held firmly.

    Parameters
    ----------
    attempt : the retention with other choices, or a KnifeError; what is advised was tried.
    """
    if retention.word == "firm":
        return ""
    fact = told(retention).partition(": ")[2]
    better = next(_better(retention, choices, attempt), "")
    if retention.word == "none":
        return (
            f"Nothing but friction keeps the knife in ({fact}): it can fall out. "
            f"Sew on a retention strap{better and f', or write {better}'}."
        )
    advice = f"For more, write {better}." if better else "A retention strap makes it sure."
    trial = "Try it point down over something soft before you wear it."
    return f"Little keeps the knife in ({fact}). {trial} {advice}"


def _better(retention: Retention, choices: Choices, attempt: Attempt) -> Iterator[str]:
    """Changes that hold the knife better by a word, the least change first."""
    shares = np.round(np.arange(COVER_STEP, COVER_MOST + COVER_STEP, COVER_STEP), 2)
    more = [min(float(share), COVER_MOST) for share in shares if share > choices.handle_covered]
    trials = [{"handle_covered": share} for share in more]
    if choices.slack > 0 and choices.handle_margin is None:
        trials = [{"slack": 0.0}, *trials, *({**trial, "slack": 0.0} for trial in trials)]
    order = ("none", "little", "firm")
    for trial in trials:
        try:
            found = attempt(replace(choices, **trial))  # type: ignore[arg-type]
        except KnifeError:
            continue
        if order.index(found.word) > order.index(retention.word):
            keys = " and ".join(f"{key} = {value:g}" for key, value in trial.items())
            yield f"{keys} (then {told(found)})"
