"""Faults in mixing: factors, ratios, areas, plan, engine."""

from __future__ import annotations

TESTS: dict[str, tuple[str, ...]] = {
    "mix/areas.py": ("tests/mix/test_areas.py",),
    "mix/averaging.py": ("tests/mix/test_averaging.py", "src/evenfall/mix/averaging.py"),
    "mix/balance.py": (
        "tests/mix/test_balance.py",
        "src/evenfall/mix/balance.py",
        "tests/recipe/test_steps.py",
    ),
    "mix/coverage.py": ("tests/mix/test_engine.py", "tests/develop/test_engine.py"),
    "mix/engine.py": ("tests/mix/test_engine.py",),
    "mix/halves.py": ("tests/mix/test_engine.py",),
    "mix/matching.py": ("tests/mix/test_matching.py",),
    "mix/plan.py": ("tests/mix/test_plan.py",),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "mix/areas.py": (
        ("feather = area.feather * width", "feather = area.feather * height"),
        ("np.subtract(1.0, weights, dtype=np.float32) if area.invert else weights", "weights"),
        (
            "return np.arange(count, dtype=np.float64) + 0.5",
            "return np.arange(count, dtype=np.float64)",
        ),
        ("(s * s * (3.0 - 2.0 * s)).astype(np.float32) if feather > 1 else", ""),
        ("across - left * width if left > 0 else np.full(width, np.inf)", "across - left * width"),
        (
            "bottom * height - down if bottom < 1 else",
            "bottom * height - down + 0.5 if bottom < 1 else",
        ),
        (
            "steepness = np.hypot(x / radius_x**2, y / radius_y**2)",
            "steepness = np.hypot(x / radius_x**2, y / radius_x**2)",
        ),
        ("max(half_y * height, 0.5)", "max(half_y * width, 0.5)"),
        ("inside ^= crosses &", "inside |= crosses &"),
        (
            "        if _lies_on_border(x0, x1, width) or _lies_on_border(y0, y1, height):\n            continue",
            "        if False:\n            continue",
        ),
        ("/ float(along @ along), 0.0, 1.0)", "/ float(along @ along), 0.0, 0.98)"),
        (
            "np.isin(values[np.ix_(rows, columns)], area.id)",
            "(values[np.ix_(rows, columns)] == (area.id[0] if isinstance(area.id, (list, tuple)) else area.id))",
        ),
        (
            "np.clip(np.nan_to_num(values.astype(np.float32)), 0.0, 1.0)",
            "np.clip(values.astype(np.float32), 0.0, 1.0)",
        ),
        (
            "np.clip(np.nan_to_num(values.astype(np.float32)), 0.0, 1.0)",
            "np.nan_to_num(values.astype(np.float32))",
        ),
        ("(0, size % 2 - 1)", "(0, 0)"),
    ),
    "mix/averaging.py": (
        ("_lower(plane / _ROOM, height), width) * _ROOM", "_lower(plane, height), width)"),
        ("np.minimum(left + 1, edges[1:])", "np.minimum(left + 1.02, edges[1:])"),
        (
            "np.multiply(target, np.float32(1 / taps), out=target)",
            "np.multiply(target, np.float32(1.01 / taps), out=target)",
        ),
    ),
    "mix/balance.py": (
        ("_LARGEST_FACTOR = 2.0**60", "_LARGEST_FACTOR = 2.0**61"),
        (
            "return (self.gain * red, self.gain * green, self.gain * blue)",
            "return (self.gain * red, self.gain * blue, self.gain * green)",
        ),
        (
            "return gain * start.gain if start is not None and is_relative(setting.gain) else gain",
            "return gain * start.gain if start is not None else gain",
        ),
        (
            "return gain * start.gain if start is not None and is_relative(setting.gain) else gain",
            "return gain",
        ),
        ("        rendered = Rendered(xy=start.rendered_xy)\n", "        pass\n"),
        ("* math.exp2(setting.gain.stops)", "* math.exp2(-setting.gain.stops)"),
        ("for note in balance.tint.notes if balance.gain > 0)", "for note in balance.tint.notes)"),
        (
            "    if not largest <= _LARGEST_FACTOR:",
            "    if largest > _LARGEST_FACTOR:",
            "differs for NaN alone, which no recipe can say",
        ),
        ('("sky", daylight.sky),', '("sky", daylight.sun),'),
    ),
    "mix/coverage.py": (
        ("self.gaps[mood][light, light_before] = gap", "pass"),
        ("return self.first[mood][1] if mood in self.first else None", "return None"),
        (
            "np.subtract(before, alpha, dtype=np.float32)",
            "np.subtract(before, before, dtype=np.float32)",
        ),
    ),
    "mix/engine.py": (
        (
            "np.multiply(values, term.factors[channel], out=target)",
            "np.multiply(values, term.factors[0], out=target)",
        ),
        ("np.float32(gain.gains[light] - 1.0)", "np.float32(gain.gains[light])"),
        ("mood not in begun,", "True,"),
        (
            "faults = (*earlier.faults, *error.faults) if earlier else error.faults",
            "faults = error.faults",
        ),
        ("                total.fill(0.0)", "                pass"),
        ("index == 0 or self.added[index - 1] > step", "True"),
        (
            "return int(at[channel][1]), int(at[channel][0])",
            "return int(at[channel][0]), int(at[channel][1])",
        ),
        ("            if mood not in self.failures\n        }", "        }"),
        (
            'np.errstate(over="raise", invalid="raise", under="ignore")',
            'np.errstate(over="ignore", invalid="ignore", under="ignore")',
        ),
        ("                self.coverage.see(light, images[light].alpha)\n", ""),
    ),
    "mix/halves.py": (
        ("np.float32(2.0**112)", "np.float32(2.0**111)"),
        ("np.int32(-0x70002000)", "np.int32(0x0FFFE000)"),
    ),
    "mix/matching.py": (
        ("match.ratio_value - 1 if match.convention", "match.ratio_value if match.convention"),
        (
            "gain = other / own / _other_over_own(matching.match)",
            "gain = other / own * _other_over_own(matching.match)",
        ),
        (
            "gain = other / own / _other_over_own(matching.match)",
            "gain = 1.01 * other / own / _other_over_own(matching.match)",
        ),
        ("        _check_lit(recipe, matching, matching.match.to, other)\n", ""),
        ('        _check_lit(recipe, matching, " + ".join(matching.lights), own)\n', ""),
        ("        balance = balance.with_gains(recipe, solved)\n", ""),
        ("weights = luminance_weights(space)", "weights = np.full(3, 1 / 3)"),
        ("if not mood.lights[light].off)", ")"),
        ("        if entry in path:", "        if False:"),
        (
            "    return np.array([_weighted_sum(plane, weights) for plane in planes]) / total",
            "    return np.array([_weighted_sum(plane, weights) for plane in planes])",
        ),
        (
            "    for light in entry.others:\n            if light in by_light:",
            "    for light in entry.others:\n            if False:",
        ),
    ),
    "mix/plan.py": (
        ("or not np.isfinite(row).all()", ""),
        ("or (row < 0).any()", ""),
        ("            if row.any():\n", "            if True:\n"),
        (".union(also)", ""),
        ("    if homeless:\n", "    if False:\n"),
    ),
}
