"""Faults in the look: curves, grade, gamut, finishing, layers, the order of the chain."""

from __future__ import annotations

TESTS: dict[str, tuple[str, ...]] = {
    "look/curves.py": ("tests/look/test_curves.py",),
    "look/grey_curve.py": ("tests/look/test_grey_curve.py", "tests/look/test_curves.py"),
    "look/gamut.py": ("tests/look/test_gamut.py", "src/evenfall/look/gamut.py"),
    "look/grade.py": ("tests/look/test_grade.py",),
    "look/chain.py": (
        "tests/look/test_chain.py",
        "tests/look/test_grade.py",
        "tests/look/test_hdr_range.py",
    ),
    "look/glare.py": (
        "src/evenfall/look/glare.py",
        "tests/look/test_finishing.py",
        "-k",
        "glare or point_spread or large",
    ),
    "look/grain.py": ("tests/look/test_finishing.py", "-k", "grain"),
    "look/vignette.py": ("tests/look/test_finishing.py", "-k", "vignette"),
    "look/fringe.py": ("tests/look/test_finishing.py", "-k", "fring"),
    "look/sharpen.py": ("tests/look/test_finishing.py", "-k", "sharpen or large"),
    "look/layers.py": ("tests/look/test_layers.py",),
    "look/over.py": ("tests/look/test_layers.py",),
    "look/regions.py": (
        "tests/look/test_layers.py",
        "tests/look/test_chain.py",
        "tests/develop/test_engine.py",
    ),
    "look/whole.py": ("tests/look/test_layers.py", "tests/look/test_chain.py"),
    "look/aces.py": ("tests/look/test_aces.py",),
    "look/opencolorio.py": (
        "tests/look/test_grade.py",
        "tests/look/test_trials.py",
        "tests/look/test_view.py",
    ),
    "look/probing.py": ("tests/look/test_trials.py", "src/evenfall/look/probing.py"),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "look/curves.py": (
        ("0.22, 0.30, 0.10, 0.20, 0.01, 0.30", "0.22, 0.30, 0.10, 0.20, 0.0102, 0.30"),
        ("0.22, 0.30, 0.10, 0.20, 0.01, 0.30", "0.224, 0.30, 0.10, 0.20, 0.01, 0.30"),
        ("0.04, 0.8 - 0.04, 0.15", "0.0408, 0.8 - 0.04, 0.15"),
        ("0.04, 0.8 - 0.04, 0.15", "0.04, 0.8 - 0.04, 0.153"),
        ("0.04, 0.8 - 0.04, 0.15", "0.04, 0.8, 0.15"),
        ("scene_linear / white**2", "scene_linear / white"),
        ("_hable_partial(np.asarray(white))", "_hable_partial(np.asarray(1.02 * white))"),
        ("colour = np.maximum(bt709_linear, np.float32(0))", "colour = bt709_linear.copy()"),
    ),
    "look/grey_curve.py": (
        ("SIGNAL_GAMMA = 2.4", "SIGNAL_GAMMA = 2.44"),
        ("settings.contrast * float(np.log(2.0))", "1.02 * settings.contrast * float(np.log(2.0))"),
        (
            "self.black_stops = -settings.shadow_stops",
            "self.black_stops = -1.02 * settings.shadow_stops",
        ),
        ("settings.highlight_stops + float(np.log2(peak))", "settings.highlight_stops"),
        (
            "reach_up * (1.0 - settings.soft_highlights)",
            "reach_up * (1.0 - 0.9 * settings.soft_highlights)",
        ),
        (
            "-reach_down * (1.0 - settings.soft_shadows)",
            "-reach_down * (1.0 - 0.9 * settings.soft_shadows)",
        ),
    ),
    "look/gamut.py": (
        ("_POWER = 1.2", "_POWER = 1.22"),
        ("_BLEACHING = np.float32(0.5)", "_BLEACHING = np.float32(0.51)"),
        ("if limit > 1.0", "if limit > 1.1"),
        (
            "np.minimum(factor, shortening(distances[channel]), out=factor)",
            "factor = shortening(distances[channel])",
        ),
        (
            "        if np.isfinite(self._peak):\n            self._hold_below_white(flat, largest)",
            "        pass",
        ),
        ("distances /= top\n", "distances /= 1.02 * top\n"),
    ),
    "look/grade.py": (
        ("MIDDLE_GREY ** (1.0 - contrast)", "MIDDLE_GREY ** (1.02 - contrast)"),
        ("    np.copysign(size, planes, out=planes)", "    np.copyto(planes, size)"),
        (
            "weights = luminance_weights(ACESCG)\n    matrix",
            "weights = luminance_weights(BT709)\n    matrix",
        ),
        ("* 2.0**tint.balance_stops", ""),
        (
            "tint.strength * (_tint_factors(tint.shadows) - 1.0)",
            "tint.strength * (_tint_factors(tint.highlights) - 1.0)",
        ),
        ("    planes *= scale\n", ""),
        ("conversion_matrix(BT709, ACESCG) @ decode_srgb(encoded)", "decode_srgb(encoded)"),
    ),
    "look/chain.py": (
        (
            '    return steps + _lut_steps(look, "scene", folder)',
            '    return _lut_steps(look, "scene", folder) + steps',
        ),
        (
            "            for step in self._display_steps:\n                step(shown)\n            if self._grain is not None and grain is not None:\n                self._grain.add(shown, grain)\n",
            "            if self._grain is not None and grain is not None:\n                self._grain.add(shown, grain)\n            for step in self._display_steps:\n                step(shown)\n",
        ),
        (
            "conversion_matrix(source, ACESCG) @ camera_matrix",
            "camera_matrix @ conversion_matrix(source, ACESCG)",
        ),
        ("if lut.place == place]", "]"),
        ("            self._darken_corners(working, first_pixel)\n", ""),
        (
            "    np.fmax(planes, -limit, out=planes)\n",
            "",
            "powers are skipped below nothing and slopes end at 1000: nothing falls so far",
        ),
        ("first_row * width + block.start, exposed)", "block.start, exposed)"),
        ("            out += above_white", "            pass"),
    ),
    "look/glare.py": (
        ("_VEIL = 0.02", "_VEIL = 0.021"),
        ("nearness**3 + _VEIL", "nearness**2.9 + _VEIL"),
        ("radius = glare.radius * width", "radius = glare.radius * height"),
        ("plane *= np.float32(1.0 - strength)", "plane *= np.float32(1.0)"),
        ("level = taken / given if taken > 0 and given > 0 else 1.0", "level = 1.0"),
    ),
    "look/grain.py": (
        ("_STRONGEST = 0.05", "_STRONGEST = 0.051"),
        ("weight *= np.float32(2)", "weight *= np.float32(2.04)"),
        (
            "    np.clip(encoded, np.float32(0), np.float32(1), out=encoded)\n        np.subtract",
            "    np.subtract",
        ),
        ("self._pattern.rows(first_row, rows)", "self._pattern.rows(0, rows)"),
    ),
    "look/vignette.py": (
        ("FRAME_WIDTH_MM = 36.0", "FRAME_WIDTH_MM = 35.6"),
        ("-2.0 * settings.natural", "-1.96 * settings.natural"),
        ("square * (3 - 2 * np.sqrt(square))", "square"),
        (
            "settings.focal_length_mm\n        self._natural = _squares(size, (0.5, 0.5)",
            "settings.focal_length_mm\n        self._natural = _squares(size, settings.centre",
        ),
        ("max(centre[1], 1 - centre[1]) * height", "max(centre[1], 1 - centre[1]) * width"),
    ),
    "look/fringe.py": (
        ("STRONGEST_SHIFT = 0.003", "STRONGEST_SHIFT = 0.0031"),
        ("((0, 1.0), (2, -1.0))", "((0, -1.0), (2, 1.0))"),
        ("sign * STRONGEST_SHIFT * fringe.strength", "sign * STRONGEST_SHIFT"),
    ),
    "look/sharpen.py": (
        ("_STRONGEST = 2.0", "_STRONGEST = 2.04"),
        ("np.ceil(3 * sigma)) + 1", "np.ceil(2 * sigma)) + 1"),
        (
            '    np.minimum(sharper, maximum_filter(level, reach, mode="nearest"), out=sharper)\n',
            "",
        ),
        ("MIDDLE_GREY * 2.0**-10", "0"),
        ("sigma = settings.radius * width", "sigma = settings.radius * height"),
    ),
    "look/layers.py": (
        ("_WRAP_REACH = 0.008", "_WRAP_REACH = 0.0085"),
        ('"cover": max, "contain": min', '"cover": min, "contain": max'),
        ("plate.position[0] * spare_x", "plate.position[1] * spare_x"),
        ("plate.position[0] * (width - fitted_width)", "0.5 * (width - fitted_width)"),
    ),
    "look/over.py": (("np.float32(1) - front_alpha", "np.float32(1)"),),
    "look/regions.py": (
        ("        changed *= weights\n", ""),
        (
            "np.exp2(weights * np.float32(change.exposure_stops))",
            "np.exp2(weights * np.float32(-change.exposure_stops))",
        ),
        ("matrix = matrix @ change.balance", "matrix = change.balance"),
    ),
    "look/whole.py": (
        ('alpha.astype("float32").clip(0, 1)', 'alpha.astype("float32")'),
        (
            "    if wrap > 0:\n        add_light_wrap(combined, coverage, background, wrap)\n",
            "",
        ),
        ("        go_on()\n        apply_region(planes, change)\n", "        go_on()\n"),
        ("            put_overlay(planes, cutout)\n", "            pass\n"),
    ),
    "look/aces.py": (
        ("_SDR_PEAK_NITS = 100.0", "_SDR_PEAK_NITS = 102.0"),
        (
            "self.space = ACES2065_1",
            "from evenfall.light.primaries import ACESCG\n\n        self.space = ACESCG",
        ),
    ),
    "look/opencolorio.py": (
        (
            "style = PyOpenColorIO.CDL_ASC if cdl.clamp else PyOpenColorIO.CDL_NO_CLAMP",
            "style = PyOpenColorIO.CDL_NO_CLAMP",
        ),
        ('        if lut.input == "log":\n            transform = _in_acescct(transform)\n', ""),
        ("        changed *= self._strength\n", ""),
        ("        if not _tables_are_finite(processor):\n", "        if False:\n"),
        (
            "    for opened in tried:\n        if not _is_still(opened):",
            "    for opened in tried:\n        if False:",
        ),
        ("    with opencolorio_silenced():\n        yield\n", "    yield\n"),
        ("    PyOpenColorIO.ClearAllCaches()  # files", "    pass  # files"),
    ),
    "look/probing.py": (
        ("    if not broken.any():\n        return None\n", "    return None\n"),
        ("16.0, 1024.0)", "16.0)"),
    ),
}
