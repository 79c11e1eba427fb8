"""Faults in metering, exposure and white balance."""

from __future__ import annotations

TESTS: dict[str, tuple[str, ...]] = {
    "camera/exposure.py": ("tests/camera/test_exposure.py", "src/evenfall/camera/exposure.py"),
    "camera/meter.py": ("tests/camera/test_meter.py",),
    "camera/state.py": ("tests/camera/test_state.py", "src/evenfall/camera/state.py"),
    "camera/white_balance.py": (
        "tests/camera/test_white_balance.py",
        "src/evenfall/camera/white_balance.py",
    ),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "camera/exposure.py": (
        (
            "return luminance_scale / (SATURATION_LUMINANCE * math.exp2(ev100))",
            "return 1 / (SATURATION_LUMINANCE * math.exp2(ev100))",
        ),
        (
            "return luminance_scale * MIDDLE_GREY / luminance_from_ev100(ev100)",
            "return MIDDLE_GREY / luminance_from_ev100(ev100)",
        ),
        (
            "ev100_from_luminance(luminance_scale * MIDDLE_GREY / exposure_factor)",
            "ev100_from_luminance(luminance_scale * MIDDLE_GREY * exposure_factor)",
        ),
        ('if lights[name].role == "key")', 'if lights[name].role != "sky")'),
        ("return mood.name if mood.own_meter else on.first_keyed()", "return on.first_keyed()"),
        ("return mood.name if mood.own_meter else on.first_keyed()", "return mood.name"),
        ("        return meter.mood\n", "        return mood.name\n"),
        ('    if meter.of == "mix":\n        return on.of(metered)\n', ""),
        (
            "mood.camera.settings is not None or not isinstance(meter, Meter)",
            "not isinstance(meter, Meter)",
        ),
        ('settings.anchor == "saturation"', 'settings.anchor != "saturation"'),
    ),
    "camera/meter.py": (
        ("UNLIT_STOPS = 10.0", "UNLIT_STOPS = 9.0"),
        ("SPOT_DIAMETER = 1 / 20", "SPOT_DIAMETER = 1 / 19"),
        ("_CENTRE_SIGMA = 0.25", "_CENTRE_SIGMA = 0.255"),
        ("SPOT_DIAMETER / 2, width", "SPOT_DIAMETER, width"),
        ("np.clip(further, 0.0, 1.0).astype(np.float32)", "further.astype(np.float32)"),
        ("settings.highlight_percent / 100", "settings.highlight_percent / 101"),
        ("settings.grey_percent / 100", "settings.grey_percent / 102"),
        ("return self.target / self.luminance", "return self.luminance / self.target"),
        ("luminance += weights[1] * planes[1]", "luminance += weights[1] * planes[2]"),
        ("return 2.0 ** (logs / lit), lit / weight", "return light / weight, lit / weight"),
        ("flat.size * percent / 100)", "flat.size * percent / 102)"),
        ("(1 - 1e-12)", "(1 + 1e-3)"),
        (
            "        weights[np.unravel_index(int(np.argmin(distance)), distance.shape)] = 1.0\n",
            "        pass\n",
        ),
        ("not reading > 0 or", ""),
        ("at[1] * height", "at[1] * width"),
        ("counts = weights > 0\n", "counts = weights >= 0\n"),
    ),
    "camera/state.py": (
        (
            "factor = base * math.exp2(camera.exposure_stops)",
            "factor = base * math.exp2(-camera.exposure_stops)",
        ),
        ("_MOST_STOPS = 90", "_MOST_STOPS = 120"),
        ("CameraState(factor, factor * balance,", "CameraState(factor, balance,"),
        ("return reading.factor if reading is not None else 1.0", "return 1.0"),
        ("equivalent_ev100(factor, luminance_scale) if luminance_scale else None", "None"),
    ),
    "camera/white_balance.py": (
        ("settings.kelvin, settings.duv", "settings.kelvin"),
        ("space.white, method)", "space.white)"),
        ("    if neutral_xy is None:\n", "    if False:\n"),
        ("np.linalg.solve(to_xyz, adapted)", "np.linalg.solve(adapted, to_xyz)"),
        ("np.linalg.solve(to_xyz, adapted)", "adapted"),
    ),
}
