"""Metering a view, with pictures of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from evenfall.develop.asked import Asked
from evenfall.develop.checking import check_moods
from evenfall.meter.metering import MeterReport, meter_moods
from evenfall.meter.pictures import refuse_existing_pictures, write_meter_pictures
from evenfall.mix.engine import PassRead
from evenfall.passes.source import PassSource
from evenfall.system.opened import Once

__all__ = ["meter_view"]


def meter_view(
    asked: Asked,
    opened: Once[PassSource],
    moods: Sequence[str],
    *,
    pictures: Path | None,
    overwrite: bool,
    workers: int | None,
    on_read: Callable[[PassRead], None] | None,
) -> MeterReport:
    """Meter moods, and draw what was metered; as `View.meter`."""
    recipe = asked.recipe
    if pictures is not None:
        refuse_existing_pictures(recipe, moods, pictures, overwrite=overwrite)
    check_moods(asked, moods)
    report = meter_moods(opened.get(), asked, moods, workers=workers, on_read=on_read)
    if pictures is None:
        return report
    made = write_meter_pictures(report, recipe, pictures, overwrite=overwrite)
    return replace(report, pictures=tuple(made))
