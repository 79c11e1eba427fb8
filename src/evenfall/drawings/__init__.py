"""Pictures that are drawn: contact sheet, maps, curves."""
