"""Faults in the rows of formats and the cases of gains."""

from __future__ import annotations

TESTS: dict[str, tuple[str, ...]] = {
    "recipe/formats.py": (
        "tests/deliver/test_every_format.py",
        "tests/deliver/test_frame.py",
        "tests/recipe/test_faults.py",
    ),
    "recipe/gains.py": (
        "tests/recipe/test_steps.py",
        "src/evenfall/recipe/gains.py",
        "tests/light/test_daybalance.py",
    ),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "recipe/formats.py": (
        ('((8, b"WEBP"),)', '((0, b"WEBP"),)'),
        ("longest_side=16_383", "longest_side=16_384"),
        (
            '"AVIF",\n        ".avif",\n        ((4, b"ftypavif"),),\n        (10, 12)',
            '"AVIF",\n        ".avif",\n        ((4, b"ftypavif"),),\n        (12, 10)',
        ),
        ('hdr_gamut="Display P3"', 'hdr_gamut=""'),
    ),
    "recipe/gains.py": (
        (
            "        case Factor(amount) | Lumens(amount) | Watts(amount) | Candela(amount):\n            return amount == 0",
            "        case Factor(amount) | Lumens(amount) | Watts(amount) | Candela(amount):\n            return amount < 0",
        ),
        (
            "        case AsRendered() | InStops() | Factor():\n            return True",
            "        case AsRendered() | InStops() | Factor():\n            return False",
        ),
    ),
}
