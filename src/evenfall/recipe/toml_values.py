"""Plain values written as TOML."""

from __future__ import annotations

from typing import Any

import tomlkit

__all__ = ["toml_text"]


def toml_text(value: Any) -> str:
    """Write a plain value as TOML on one line.

    Examples
    --------
    >>> print(toml_text({"kelvin": 2700.0, "names": ["a", "b"]}))
    { kelvin = 2700.0, names = ["a", "b"] }
    """
    if isinstance(value, dict):
        inner = ", ".join(
            f"{tomlkit.key(key).as_string()} = {toml_text(item)}" for key, item in value.items()
        )
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_text(item) for item in value) + "]"
    written: str = tomlkit.item(value).as_string()
    return written
