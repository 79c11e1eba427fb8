"""What differs, printed in columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from evenfall.compare.difference import Difference

__all__ = ["difference_lines"]


def difference_lines(differences: Sequence[Difference]) -> list[str]:
    """Set differences in columns: what, what it was, what it is, and how far that is.

    Examples
    --------
    >>> from evenfall.compare.difference import Difference
    >>> difference_lines([Difference("sky", "-2 stops", "-1 stop", "up 1")])
    ['  sky  -2 stops  ->  -1 stop  (up 1)']
    """
    name = max((len(one.subject) for one in differences), default=0)
    before = max((len(one.before) for one in differences), default=0)
    return [
        f"  {one.subject:{name}}  {one.before:{before}}  ->  {one.after}"
        + (f"  ({one.way})" if one.way else "")
        for one in differences
    ]
