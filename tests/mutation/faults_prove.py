"""Faults in proving passes against their beauty."""

from __future__ import annotations

_PROOFS = (
    "tests/prove/test_prove.py",
    "tests/prove/test_other_scenes.py",
    "tests/prove/test_sample_proof.py",
)

TESTS: dict[str, tuple[str, ...]] = {
    "prove/blocks.py": ("src/evenfall/prove/blocks.py", "tests/prove/test_fit.py", *_PROOFS),
    "prove/curves.py": ("src/evenfall/prove/curves.py", "tests/prove/test_curves.py", *_PROOFS),
    "prove/duplicates.py": (
        "src/evenfall/prove/duplicates.py",
        "tests/prove/test_duplicates.py",
        *_PROOFS,
    ),
    "prove/fit.py": ("src/evenfall/prove/fit.py", "tests/prove/test_fit.py", *_PROOFS),
    "prove/found.py": ("tests/prove/test_search_rules.py", *_PROOFS),
    "prove/joint.py": ("tests/prove/test_trials.py", *_PROOFS),
    "prove/lens.py": (
        "tests/prove/test_lens.py",
        "tests/prove/test_other_scenes.py",
        "tests/prove/test_prove.py",
    ),
    "prove/looks.py": ("tests/prove/test_lens.py", *_PROOFS),
    "prove/measure.py": ("src/evenfall/prove/measure.py", "tests/prove/test_trials.py", *_PROOFS),
    "prove/noise.py": ("tests/prove/test_noise.py", *_PROOFS),
    "prove/proof.py": ("src/evenfall/prove/proof.py", *_PROOFS),
    "prove/prove.py": ("src/evenfall/prove/prove.py", "tests/prove/test_trials.py", *_PROOFS),
    "prove/remarks.py": _PROOFS,
    "prove/rules.py": ("tests/prove/test_search_rules.py", *_PROOFS),
    "prove/scored.py": ("tests/prove/test_search_rules.py", *_PROOFS),
    "prove/search.py": (
        "tests/prove/test_trials.py",
        "tests/prove/test_other_scenes.py",
        "tests/prove/test_prove.py",
    ),
    "prove/shift.py": ("src/evenfall/prove/shift.py", "tests/prove/test_lens.py", *_PROOFS),
    "prove/suspicion.py": ("tests/prove/test_suspicion.py", "src/evenfall/prove/suspicion.py"),
    "prove/told.py": _PROOFS,
    "prove/trials.py": ("tests/prove/test_trials.py", *_PROOFS),
    "prove/verdict.py": ("tests/prove/test_trials.py", *_PROOFS),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "prove/blocks.py": (
        ("upper_left + lower_right - upper_right - lower_left,", "upper_left - lower_right,"),
        ("BlockPicture(reduced[0], 2 * reduced[1], 2 * reduced[2:])",
         "BlockPicture(reduced[0], reduced[1], reduced[2:])"),
        ("self.stripes - other.stripes if both", "self.stripes + other.stripes if both"),
        ("side // self.size * self.size or side", "side"),
    ),
    "prove/curves.py": (
        ("2.51 * light + 0.03", "2.51 * light + 0.3"),
        ("np.append(0.0, stored[rising]), np.append(0.0, light[rising])",
         "np.append(0.0, stored[rising]), np.append(0.0, 0.5 * light[rising])"),
        ("return _half_table(name)[plane.view(np.uint16)]", "return plane.astype(np.float32)"),
    ),
    "prove/duplicates.py": (
        ("return factor if loudest < _SIGNIFICANT else None", "return factor"),
        ("return factor if loudest < _SIGNIFICANT else None", "return None"),
        ("if other != index and _covers(", "if _covers("),
    ),
    "prove/fit.py": (
        ("_FLOOR = 0.002", "_FLOOR = 0.02"),
        ("_SCALES = (1, 4, 16)", "_SCALES = (1, 4)"),
        ("deciding = 9 * uniform_filter(leverage, 3, mode=\"constant\") > _DECIDING",
         "deciding = leverage > 2"),
        ("return most * max(1.0, correlation), correlation", "return most, correlation"),
        ("most = np.maximum(np.maximum(local, by_light), squares)", "most = local"),
        ("np.sqrt(spread * variance + (_FLOOR * light) ** 2)", "np.sqrt(variance)"),
        ("return min(max(1.0, spread), _MOST_SPREAD)", "return 1.0"),
    ),
    "prove/lens.py": (
        ("yield corner, np.maximum(1 + ", "yield corner, np.maximum(1 - "),
        ("taken * calm for each in spread", "taken * total for each in spread"),
        ("radius2 = ((x + 0.5 - columns / 2) ** 2 + (y + 0.5 - rows / 2) ** 2)",
         "radius2 = (x**2 + y**2)"),
        ("for taken in (1.0, 0.0):", "for taken in (0.5,):"),
        ("if corner < min(middle, 1 - _LEAST_DARKENING) and corner > 0.05:", "if corner < 0:"),
    ),
    "prove/looks.py": (
        ("return [plane.astype(np.float32) * cover for plane in planes]",
         "return [plane.astype(np.float32) for plane in planes]"),
        ("return [plane.astype(np.float32) / thick for plane in planes]",
         "return [plane.astype(np.float32) for plane in planes]"),
        ("(-down, -across)", "(down, across)"),
    ),
    "prove/joint.py": (
        ("together[light == light[first]] = np.inf", "together[:] = np.inf"),
        ("stretch = _stretch(root, state)", "stretch = 1.0"),
    ),
    "prove/found.py": (
        ("order = np.argsort(explained)[::-1]", "order = np.argsort(explained)"),
        ("surplus=loud and negative,", "surplus=False,"),
        ("missing=missing or (loud and positive),", "missing=missing,"),
    ),
    "prove/rules.py": (
        ("_RESOLVED = 0.05", "_RESOLVED = 0.6"),
        ("return pair.result.misfit < _SECOND * best", "return True"),
    ),
    "prove/scored.py": (
        ("LIKELIER = 16.0", "LIKELIER = 0.0"),
    ),
    "prove/verdict.py": (
        ("LOUD_SIGMAS = (8.5, 7.5)", "LOUD_SIGMAS = (4.0, 3.5)"),
        ("LOUD_SIGMAS = (8.5, 7.5)", "LOUD_SIGMAS = (30.0, 30.0)"),
    ),
    "prove/measure.py": (
        ("plane >= top * (1 - _TOP_BAND)", "plane >= top * (1 + _TOP_BAND)"),
        ("np.mean(picture.alpha < 0.5)", "np.mean(picture.alpha > 0.5)"),
    ),
    "prove/noise.py": (
        ("sign = 1.0 if is_beauty else -1.0", "sign = 1.0"),
        ("tuple(index for index, grain in enumerate(passes) if usual and grain.hardly(usual))",
         "()"),
        ("len(known) >= _FEW and beauty.hardly(together)", "False"),
        ("> _BLOTCHY,", "> 100 * _BLOTCHY,"),
        ("judge.softness > _SOFT and ", ""),
        ("np.median(shares)", "np.mean(shares)"),
        ("use &= judge.variance > (_SILENT * judge.level) ** 2", "pass"),
    ),
    "prove/proof.py": (
        ('"does not add up" if diagnoses else', '"does not add up" if remarks else'),
        ('"cannot be proven" if small else "adds up"', '"adds up"'),
        ("undone[fault.light] = plain.passes[fault.light]", "pass"),
        ("index not in accused and not by_beauty", "index not in accused"),
    ),
    "prove/prove.py": (
        ("black &= np.all(each.blocks.means == 0, axis=0)", "black &= True"),
        ("repeated = binary_opening((alike >= 2) & lit, solid)",
         "repeated = binary_opening((alike >= 1) & lit, solid)"),
    ),
    "prove/remarks.py": (
        ("if grain.blotchy or not agrees:", "if grain.blotchy:"),
        ("_GRAINY = 2.5", "_GRAINY = 25"),
        ("if share > _FLAT and levels:", "if levels and share > 1:"),
    ),
    "prove/search.py": (
        ("_SURELY, _SURELY_BESIDE = 200.0, 150.0", "_SURELY, _SURELY_BESIDE = 0.0, 0.0"),
        ("_SURELY, _SURELY_BESIDE = 200.0, 150.0", "_SURELY, _SURELY_BESIDE = 1e9, 1e9"),
        ("if not self.is_first or any(", "if True or any("),
        ("for _ in range(_ROUNDS):\n            for number", "for _ in range(0):\n            for number"),
        ("each.state, each.state.judge, by_itself=True", "each.state, self.judge"),
        ("if self._is_sure(each) and self._is_borne_out(each)]", "if self._is_sure(each)]"),
        ("            if each.result.chi < self.before.chi and self._is_borne_out(each)\n", ""),
        ("return kept * before.chi - after.chi, kept *", "return before.chi - after.chi, kept *"),
    ),
    "prove/shift.py": (
        ("if not max(_LEAST_PIXELS, _SURE * error) <", "if not _SURE * error <"),
        ('"right" if self.across > 0', '"right" if self.across < 0'),
        ("turned = BlockGrid(grid.width, grid.height, grid.size)\n"
         "    down = [_change(plane.T, turned).T for plane in planes]",
         "down = across"),
        ("yield right, lower", "yield lower, right"),
    ),
    "prove/suspicion.py": (
        ("_EVEN = 1.15", "_EVEN = 0.9"),
        ("return self.levels or (self.ceiling and self.even)", "return self.levels"),
        ("return self.levels or (self.ceiling and self.even)",
         "return self.levels or self.ceiling or self.even"),
        ("for values in (between, encode_srgb(between)):", "for values in (between,):"),
    ),
    "prove/told.py": (
        ("it was exported {-stops:+.2f} stops", "it was exported {stops:+.2f} stops"),
        ("until then {stops:+.2f} stops puts it right", "until then {-stops:+.2f} stops puts it"),
        ('"warmer than" if balance > _WARM', '"warmer than" if balance < _WARM'),
        ('if fault.name == "display" else "power of 1/2.2"', 'if fault.name else "power"'),
        ("signed = pool(means, side) * (np.abs(sigmas) > _LOUD)", "signed = -pool(means, side)"),
    ),
    "prove/trials.py": (
        ("return state.residual + state.passes[index].means", "return state.residual"),
        ("_alone(fault, state.without(topped))", "_alone(fault, state)"),
        ("_supports(state, judge, topped, -1.0 if index is None else 1.0)", "_supports(state, judge, topped, 1.0)"),
        ("return float(beyond[off > 0].sum()) > _SUPPORT * total", "return True"),
        ("_picture(state, index).mixed(matrix)", "_picture(state, index).mixed(matrix.T)"),
        ("state.with_beauty(state.beauty.scaled(1 / factor))", "state.with_beauty(state.beauty.scaled(factor))"),
        ("if np.ptp(factors) > _SMALL_COLOUR and factors.min() > 0.1:", "if False:"),
        ("off = state.with_pass(index, state.passes[index].scaled(0.0))", "off = state"),
        ("factor = max(0.0, float(np.quantile(target[telling] / picture[telling], 0.1)))",
         "return 1.0"),
        ("(-each for each in of_passes)", "(each for each in of_passes)"),
    ),
}  # fmt: skip
