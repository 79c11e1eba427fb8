"""Reading back where a delivered picture came from."""

from __future__ import annotations

from evenfall.record.read_record import read_provenance

__all__ = ["read_provenance"]
