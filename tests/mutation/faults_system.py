"""Faults in what writes files whole and keeps machines out of each other's way."""

from __future__ import annotations

TESTS: dict[str, tuple[str, ...]] = {
    "system/atomic.py": ("tests/system/test_atomic.py", "tests/system/test_partials.py"),
    "system/partials.py": (
        "tests/system/test_partials.py",
        "tests/system/test_atomic.py",
    ),
    "system/cache.py": (
        "tests/system/test_cache.py",
        "tests/system/test_partials.py",
    ),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "system/atomic.py": (
        ("            os.fsync(stream.fileno())\n", "            pass\n"),
        (
            "synced(path.parent) if durable else contextlib.nullcontext()",
            "contextlib.nullcontext()",
        ),
        (
            "                partial.replace(path)\n            else:",
            "                path.write_bytes(b''.join(parts))\n            else:",
        ),
        (
            '    if written != wanted:\n        raise OSError(errno.ENOSPC, f"only {written} of {wanted} bytes reached the disk")\n',
            "",
        ),
        ("            _take_free_name(partial, path)", "            partial.replace(path)"),
        (
            '        if path.exists():\n            raise FileExistsError(errno.EEXIST, "the file exists already", str(path)) from None\n',
            "",
        ),
        ("            partial.unlink(missing_ok=True)", "            pass"),
        ("    if durable:\n        sync_folder(folder.parent)\n", ""),
        ("        if mode is not None:\n            partial.chmod(mode)\n", ""),
        ("            os.fsync(descriptor)\n", "            pass\n"),
        ("            remove_leftovers(path.parent)\n", "            pass\n"),
    ),
    "system/partials.py": (
        ("_OLD_SECONDS = 24 * 3600", "_OLD_SECONDS = 23.5 * 3600"),
        ("    return begun_at(process) == begun", "    return True"),
        ("    identity = [name, _text_of(_MACHINE_ID)]", "    identity = [name]"),
        ("is_left = not is_alive(", "is_left = is_alive("),
        ("    remove_leftovers(place)\n", ""),
        ("{_text_of(_BOOT_ID)}\\n", ""),
    ),
    "system/cache.py": (
        ("key=lambda entry: entry[0].st_mtime_ns", "key=lambda entry: -entry[0].st_mtime_ns"),
    ),
}
