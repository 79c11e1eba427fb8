"""Faults in reading: headers, chunks, windows, broken pixels, pictures beside the passes."""

from __future__ import annotations

_BROKEN = ("tests/passes/test_broken_files.py",)
_SOUND = ("tests/passes/test_reading.py",)

TESTS: dict[str, tuple[str, ...]] = {
    "passes/openexr/scan.py": _BROKEN,
    "passes/openexr/parts.py": (*_BROKEN, *_SOUND),
    "passes/openexr/chunks.py": (*_BROKEN, *_SOUND),
    "passes/openexr/walking.py": (*_SOUND, *_BROKEN),
    "passes/placement.py": _SOUND,
    "passes/finite.py": ("tests/passes/test_pixels.py",),
    "passes/flat_top.py": ("tests/passes/test_clean.py", "src/evenfall/passes/flat_top.py"),
    "passes/mending/clean.py": ("tests/passes/test_clean.py",),
    "passes/side/jpeg.py": ("tests/passes/test_pictures.py",),
    "passes/side/stored.py": ("tests/passes/test_pictures.py",),
    "passes/side/pictures.py": ("tests/passes/test_pictures.py",),
    "passes/upright.py": ("tests/passes/test_upright.py",),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "passes/openexr/scan.py": (
        ("        if len(set(names)) != len(names):", "        if False:"),
        ("            if name in found:\n", "            if False:\n"),
        (
            "            if size < 0 or self.place + 4 + size > self.file.size:",
            "            if size < 0:",
        ),
        (
            "        if self.block[:4] != EXR_MAGIC:",
            "        if False:",
            "by these four bytes the reader was chosen",
        ),
        ("if version & 0xFF != 2 or version & ~(0xFF | _KNOWN_FLAGS):", "if version & 0xFF != 2:"),
        ("        if multipart and version & _SINGLE_TILED:", "        if False:"),
        ("            if not multipart:\n                break", "            break"),
        (
            '                self.fail("the file ends inside the header")',
            '                return self.block[offset:].ljust(count, b"\\0")',
        ),
    ),
    "passes/openexr/parts.py": (
        ("        if raw <= previous:", "        if raw < previous:"),
        ("        if raw <= previous:", "        if False:"),
        ("    if line_order > 2:", "    if line_order > 3:"),
        ("    if not 1e-6 < aspect < 1e6:", "    if not aspect < 1e6:"),
        ("    if not 1e-6 < aspect < 1e6:", "    if not 1e-6 < aspect:"),
        ("        if claimed != count and not deep:", "        if False:"),
        (
            "    if tile_size and any(channel.x_sampling * channel.y_sampling > 1 for channel in channels):",
            "    if False:",
        ),
        ("    if missing:\n", "    if False:\n"),
        (
            "        if found_kind != kind or (size is not None and len(value) != size):",
            "        if found_kind != kind:",
        ),
        ("        if kind not in _PIXEL_TYPES:", "        if False:"),
        ("    if place != len(value) - 1 or not count:", "    if not count:"),
        (
            "        if not 1 <= step <= 64 or first % step or size % step:",
            "        if not 1 <= step <= 64:",
        ),
        ("    if mode & 0xF > 2 or mode >> 4 > 1:", "    if mode & 0xF > 2:"),
        ("    if max(abs(left), abs(top)) > 1 << 30:", "    if False:"),
        ('    7: Codec("b44a", 32, 11.0)', '    7: Codec("b44a", 32, 2.5)'),
        ('    3: Codec("zip", 16, 1040.0)', '    3: Codec("zip", 32, 1040.0)'),
        (
            "return last // sampling - (first - 1) // sampling",
            "return last // sampling - first // sampling",
        ),
    ),
    "passes/openexr/chunks.py": (
        ("            if (leaders[:, 0] != part.index).any():", "            if False:"),
        ("        if (ends[order][:-1] > offsets[order][1:]).any():", "        if False:"),
        ("        if (ends > self.file.size).any():", "        if False:"),
        ("        if empty:\n", "        if False:\n"),
        ("        wrong = (first < least) | (first > decoded)", "        wrong = first > decoded"),
        ("        wrong = (first < least) | (first > decoded)", "        wrong = first < least"),
        ("        if (edges[:-1] != starts[:-1]).any():", "        if False:"),
        ("        if further is not None and further.is_beyond:", "        if False:"),
        (
            "        count = int(np.count_nonzero(wrong))\n        if count:",
            "        count = int(np.count_nonzero(wrong))\n        if False:",
        ),
        (
            "            if walked is not None and self._agrees(tables, walked):",
            "            if walked is not None:",
        ),
        ("        if self.data_offset > self.file.size:", "        if False:"),
        ("tables, notes = walked, (_REBUILT,)", "tables = walked"),
    ),
    "passes/openexr/walking.py": (
        ("or found[leader.part.index][number]:", "or False:"),
        (
            "return number if rest == 0 and 0 <= number < part.chunk_count else None",
            "return number if 0 <= number < part.chunk_count else None",
        ),
        (
            "whole = min(sizes) >= 0 and sum(sizes) > 0 and offset + length <= file.size",
            "whole = min(sizes) >= 0 and sum(sizes) > 0",
        ),
    ),
    "passes/placement.py": (
        (
            "first_y - top : last_y - top + 1",
            "first_y - data_window[1] : last_y - data_window[1] + 1",
        ),
        ("max(left, data_window[0]), max(top, data_window[1])", "data_window[0], data_window[1]"),
    ),
    "passes/finite.py": (
        ("low / 2 + high / 2", "low"),
        ("sound[rows, columns] = False", "pass"),
        ("alpha[broken] = lit", "alpha[broken] = 0"),
        ("found = np.argwhere(is_nan | is_infinite)", "found = np.argwhere(is_nan)"),
        ("negative = (bits < 0) & (magnitude > 0) & ~nan", "negative = (bits < 0) & ~nan"),
        ("replaced=len(found),", "replaced=0,"),
        (".lowered(top)", ""),
        ("usable = (inside & sound[y, x])", "usable = sound[y, x]"),
        ("broken.append(found + np.array([top, 0]))", "broken.append(found)"),
        (
            "        for channel in channels:\n            channel[rows, columns] = 0\n        return",
            "        for channel in channels:\n            channel[rows, columns] = 1\n        return",
        ),
    ),
    "passes/flat_top.py": (
        ("_LEAST_PIXELS = 16", "_LEAST_PIXELS = 4"),
        ("_TOP_BAND = 0.005", "_TOP_BAND = 0.05"),
        ("return top if upper > _STEEP * below / 10 else None", "return top"),
    ),
    "passes/mending/clean.py": (
        ("_SPIKE = 4.0", "_SPIKE = 1.5"),
        ("_ROBUST_SIGMAS = 8.0", "_ROBUST_SIGMAS = 80.0"),
        (
            "alone = np.count_nonzero(ring > bright[:, None] / _SPIKE, axis=1) <= 1",
            "alone = np.ones(len(spikes), bool)",
        ),
        ("        found[rows, columns] |= level[rows, columns] > limit\n", ""),
        ("np.maximum(plane, 0) for plane in planes]", "plane for plane in planes]"),
        (
            "found[first:last] = own[first - top : last - top]",
            "found[first:last] = own[: last - first]",
        ),
        ("replaced=image.census.replaced + replaced", "replaced=replaced"),
        ("negative |= plane < 0", "negative |= plane <= 0"),
    ),
    "passes/side/jpeg.py": (
        ("if marker == _PROGRESSIVE and _lacks_scans(data):", "if False:"),
        ("            check_jpeg(path, data)\n", "            pass\n"),
        ("data.rfind(_JPEG_END) < start", "False"),
        ("    if channels == 4:\n", "    if False:\n"),
        ("upright(codes, turn)", "codes"),
    ),
    "passes/side/stored.py": (
        (
            "if zlib.crc32(name + body) != int",
            "if False and zlib.crc32(name + body) != int",
            "the decoders look at the checksums of these chunks too",
        ),
        ('    if b"IEND" not in chunks:', "    if False:"),
        ('elif b"sRGB" not in chunks and b"gAMA" in chunks:', 'elif b"gAMA" in chunks:'),
        ('said["gamma"] = 100000 / gamma', 'said["gamma"] = gamma / 100000'),
        ("    check_size(path, width, height)\n    channels = _PNG", "    channels = _PNG"),
    ),
    "passes/side/pictures.py": (
        (
            "plane.astype(np.float32) / np.float32(top)",
            "plane.astype(np.float32) / np.float32(255)",
        ),
        ("nan=0.0, posinf=1.0, neginf=0.0", "nan=1.0, posinf=1.0, neginf=0.0"),
        ("    if not whole.all():", "    if False:"),
        ('    if encoding == "sRGB":\n        rgb = decode', "    if False:\n        rgb = decode"),
        (
            "header.chromaticities or BT709.chromaticities, premultiplied=True",
            "BT709.chromaticities, premultiplied=True",
        ),
    ),
    "passes/upright.py": (
        ("5: (3, True)", "5: (1, True)"),
        ("7: (1, True)", "7: (3, True)"),
        ("8: (1, False)", "8: (3, False)"),
        ("% 2 == 1", "% 2 == 0"),
    ),
}
