"""Faults in what is delivered: bytes, tags, sizes."""

from __future__ import annotations

TESTS: dict[str, tuple[str, ...]] = {
    "deliver/quantise.py": ("tests/deliver/test_quantise.py",),
    "deliver/png.py": (
        "tests/deliver/test_tags.py",
        "tests/deliver/test_formats.py",
    ),
    "deliver/icc.py": (
        "tests/deliver/test_icc.py",
        "tests/deliver/test_tags.py",
    ),
    "deliver/tiff.py": (
        "tests/deliver/test_tags.py",
        "tests/deliver/test_formats.py",
    ),
    "deliver/frame.py": ("tests/deliver/test_frame.py",),
    "deliver/exif.py": (
        "tests/deliver/test_tags.py",
        "tests/deliver/test_formats.py",
    ),
    "deliver/jpeg.py": (
        "tests/deliver/test_tags.py",
        "tests/deliver/test_formats.py",
    ),
    "deliver/avif.py": (
        "tests/deliver/test_hdr.py",
        "tests/deliver/test_tags.py",
        "tests/deliver/test_every_format.py",
    ),
    "deliver/gain_map.py": (
        "tests/deliver/test_hdr.py",
        "tests/deliver/test_every_format.py",
    ),
    "deliver/exr.py": (
        "tests/deliver/test_formats.py",
        "tests/deliver/test_every_format.py",
    ),
    "deliver/webp.py": (
        "tests/deliver/test_webp.py",
        "tests/deliver/test_provenance.py",
        "tests/deliver/test_every_format.py",
    ),
    "deliver/formats.py": ("tests/deliver/test_every_format.py",),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "deliver/quantise.py": (
        (
            "_add_thresholds(block, first_row + top, channel)",
            "_add_thresholds(block, first_row, channel)",
        ),
        ("block += np.float32(0.5)", "block += np.float32(0.49)"),
        ("((0, 0), (41, 83), (89, 31))", "((0, 0), (0, 0), (89, 31))"),
        ("np.fmax(block, lowest, out=block)", "np.maximum(block, lowest, out=block)"),
    ),
    "deliver/png.py": (
        ("round(dpi / 0.0254)", "round(dpi / 0.0256)"),
        ("100000 / described.curve.nearest_gamma", "100000 / 2.2"),
        (
            "bytes((primaries, transfer, MATRIX_RGB, FULL_RANGE))",
            "bytes((primaries, transfer, MATRIX_RGB, 0))",
        ),
        ("(*rgb.white, *rgb.red,", "(*rgb.red, *rgb.white,"),
    ),
    "deliver/icc.py": (
        ('        b"chad": b"sf32" + bytes(4) + _fixed(adaptation.ravel()),\n', ""),
        ("profile[:84] + identifier + profile[100:]", "profile"),
        ("_fixed(adaptation.ravel())", "_fixed(adaptation.T.ravel())"),
        ("red, green, blue = colorants", "red, blue, green = colorants"),
    ),
    "deliver/tiff.py": (
        ('options["extrasamples"] = ("unassalpha",)', 'options["extrasamples"] = ("assocalpha",)'),
        ('"predictor": True', '"predictor": False'),
    ),
    "deliver/frame.py": (
        ("width * height > MAX_PIXELS", "width * height >= MAX_PIXELS * 2"),
        ("_MM_PER_INCH = 25.4", "_MM_PER_INCH = 25.0"),
        ("width * height > MAX_PIXELS", "width * height >= MAX_PIXELS"),
    ),
    "deliver/exif.py": (
        ("(0x0128, _SHORT", "(0x0127, _SHORT"),
        ('1 if space == "sRGB" else 65535', "1"),
        ("round(dpi * 1000), 1000", "round(dpi * 1000), 1020"),
    ),
    "deliver/jpeg.py": (
        ('struct.pack(">BHH", 1, density, density)', 'struct.pack(">BHH", 2, density, density)'),
        ("budget = max_kilobytes * 1000 - len(segments)", "budget = max_kilobytes * 1000"),
        ("_FULL_COLOUR_FROM = 85", "_FULL_COLOUR_FROM = 95"),
    ),
    "deliver/avif.py": (
        ("round(total / (height * width))", "round(total / height)"),
        ("bits=12 if asked.bit_depth == 12 else 10", "bits=10"),
        ('pixelformat="444"', 'pixelformat="420"'),
        ("np.float32(peak_nits), out=nits", "np.float32(1000), out=nits"),
    ),
    "deliver/gain_map.py": (
        ("_OFFSET = 1 / 64", "_OFFSET = 1 / 65"),
        ("finished.hdr(),", "finished.hdr() * 2,"),
    ),
    "deliver/exr.py": (
        ("np.abs(plane) > _LARGEST", "plane > _LARGEST"),
        ('header["whiteLuminance"] = float(white_luminance)', "pass"),
    ),
    "deliver/webp.py": (
        ("lossless=lossless,\n        method", "lossless=False,\n        method"),
        ("place += 8 + length + length % 2", "place += 8 + length"),
        ('metadata["exif"] = exif_block(provenance, space=space, dpi=dpi)', "pass"),
        ("_LOSSLESS_EFFORT if lossless else quality", "_LOSSLESS_EFFORT"),
        ('{"icc_profile": icc_profile(space)}', '{"icc_profile": icc_profile("sRGB")}'),
    ),
    "deliver/formats.py": (
        ("deliverable.peak_nits / REFERENCE_WHITE_NITS", "deliverable.peak_nits / 200"),
        (
            "from evenfall.deliver import gain_map\n\n            module = gain_map",
            "from evenfall.deliver import jpeg\n\n            module = jpeg",
        ),
    ),
}
