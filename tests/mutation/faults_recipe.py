"""Faults in the rows of formats and the cases of gains."""

from __future__ import annotations

TESTS: dict[str, tuple[str, ...]] = {
    "recipe/formats.py": (
        "tests/deliver/test_every_format.py",
        "tests/deliver/test_frame.py",
        "tests/recipe/test_faults.py",
        "tests/recipe/test_reading.py",
    ),
    "recipe/gains.py": (
        "tests/recipe/test_steps.py",
        "src/evenfall/recipe/gains.py",
        "tests/light/test_daybalance.py",
    ),
    "recipe/resolve.py": ("tests/recipe/test_inheritance.py", "tests/recipe/test_steps.py"),
    "recipe/counting.py": ("tests/recipe/test_steps.py",),
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
    "recipe/resolve.py": (
        ("self.own_meter |= bool(", "self.own_meter = bool("),
        ("_WHOLE = (Area, Cdl, Match)", "_WHOLE = (Area, Match)"),
        ("_WHOLE = (Area, Cdl, Match)", "_WHOLE = (Cdl, Match)"),
        ('for text in (name, title or ""):', 'for text in (title or "", name):'),
        (
            "key=lambda entry: entry[0] in self.model.lights",
            "key=lambda entry: entry[0] not in self.model.lights",
        ),
        (
            'self.daylight = mood.daylight if "daylight" in said else self.daylight',
            "self.daylight = mood.daylight",
        ),
        (
            'self.plate = mood.plate if "plate" in said else self.plate',
            "self.plate = mood.plate or self.plate",
        ),
        (
            "self.overlays = self.overlays if mood.overlays is None else mood.overlays",
            "self.overlays = mood.overlays or ()",
        ),
        (
            "self.regions = self.regions if mood.regions is None else mood.regions",
            "self.regions = mood.regions or ()",
        ),
        ("    return moods[::-1]", "    return moods"),
        (
            "        copied.lights, copied.findings = dict(self.lights), []\n",
            "        copied.findings = []\n",
        ),
        ("        elif stops is not None:\n            self.counted_exposure = None\n", ""),
        ("self.camera.exposure_stops + stops.stops", "stops.stops"),
        ("                values.pop(field, None)\n", "                pass\n"),
        ("if mergeable and type(below) is type(above):", "if mergeable:"),
        ("if mergeable and type(below) is type(above):", "if False:"),
        (
            "        if all(setting.is_off for setting in below):",
            "        if any(setting.is_off for setting in below):",
        ),
        ('("dusk", ("dusk", "twilight",', '("dusk", ("dusk",'),
        ("model.lights if light in chosen)", "model.lights)"),
        ("        if self.daylight == before:\n            return set()\n", ""),
    ),
    "recipe/counting.py": (
        ('said = {"stops": math.log2(factor) + step}', 'said = {"stops": factor + step}'),
        ('{"lumens": lumens * math.exp2(step)}', '{"lumens": lumens * step}'),
        ("    if daylight_differs and is_relative(gain):\n", "    if False:\n"),
        ('return {**said, "counted": counted}', "return said"),
        ("        case _ if gives_nothing(gain):", "        case _ if False:"),
    ),
}
