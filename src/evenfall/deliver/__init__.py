"""Deliverables: quantising, profiles, file formats, contact sheet, report, provenance."""
