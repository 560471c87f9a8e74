"""What no work of a plan can mend: a cracked head.

Source: common practice, no source. Whether a casting may be welded, stitched or sleeved at all, and
how it is proved tight afterwards, is the maker's word alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from gaugelink.planning.task import Task

_CRACKED: Final = (
    "Crack test condemned ({words}): nothing in this plan releases the head. What lifts it: a "
    "repair by the maker's manual, a pressure test, and then the crack test again, found sound. "
    "The rest is planned as if that were done; do it afterwards, for a head may be beyond repair."
)
_FACE: Final = (
    "Head face condemned ({words}): it is skimmed. Whether it is clean then shows only by looking "
    "again; if it is not, skim deeper, as far as the plan says."
)


def barred(task: Task) -> tuple[str, ...]:
    """Say what stands against the head whatever is done by its plan, and what lifts it.

    >>> from gaugelink.planning.task import Shop, Task
    >>> barred(Task("x", (), {}, Shop("EUR", {}), cracked="between 2 and 3"))[0][:41]
    'Crack test condemned (between 2 and 3): n'
    """
    return (_CRACKED.format(words=task.cracked),) if task.cracked else ()


def face_caution(task: Task) -> tuple[str, ...]:
    """Say what to mind where the face was condemned by looking; nothing where it was not."""
    return (_FACE.format(words=task.face_scrap),) if task.face_scrap else ()
