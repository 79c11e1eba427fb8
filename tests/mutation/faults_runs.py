"""Faults in what a run keeps, makes again, and refuses to write over."""

from __future__ import annotations

_RUN = ("tests/produce/test_run.py", "tests/produce/test_inputs.py")

_FOLLOWS = "it follows from the text of the recipe and from files whose hashes are compared"
_SAID = "the text of the recipe, or the changes beside it, say the same"

TESTS: dict[str, tuple[str, ...]] = {
    "record/digest.py": (*_RUN, "tests/produce/test_draft.py"),
    "record/earlier.py": ("tests/record/test_earlier.py", *_RUN),
    "record/hashes.py": ("tests/record/test_hashes.py",),
    "record/report.py": ("tests/produce/test_folder.py", "src/evenfall/record/report.py"),
    "record/thumbnails.py": ("tests/record/test_thumbnails.py",),
    "produce/targets.py": ("tests/produce/test_run.py", "tests/produce/test_draft.py"),
    "produce/folder.py": ("tests/produce/test_folder.py",),
    "produce/plan.py": ("tests/produce/test_plan.py", *_RUN),
    "produce/making.py": ("tests/produce/test_death.py",),
    "produce/films.py": ("tests/produce/test_death.py",),
    "record/part_notes.py": ("tests/produce/test_death.py",),
    "record/former.py": ("tests/record/test_naming.py",),
    "system/opened.py": (
        "src/evenfall/system/opened.py",
        "tests/system/test_opened.py",
        "tests/produce/test_inputs.py",
    ),
    "system/regular.py": ("tests/system/test_regular.py",),
}

FAULTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "record/digest.py": (
        ('"look": [\n', '"looked": [] and [\n'),
        ("                    resolved.camera,\n", "", _SAID),
        ("                    resolved.look,\n", "", _SAID),
        ("                    *(plate for plate, _ in resolved.backgrounds),\n", "", _SAID),
        ("                    *resolved.overlays,\n", "", _SAID),
        ("                    *resolved.regions,\n", "", _SAID),
        ("                    model.passes.repair,\n", "", _SAID),
        ("                    model.project,\n", "", _SAID),
        ('            "meter": self._metered(mood),\n', ""),
        ('            "gains": self._gains(mood, balance.lights),\n', "", _FOLLOWS),
        ('            "space": source.space.chromaticities,\n', "", _FOLLOWS),
    ),
    "record/earlier.py": (
        (
            "        if not self._is_unchanged(noted.made_of, hashes):\n            return None\n",
            "",
        ),
        ("stands = is_intact(noted) or", "stands = noted.path.exists() or"),
        (
            "or file.path.stat().st_size != file.bytes",
            "",
            "the hash that is compared next tells it too; the size only saves reading",
        ),
        (".hexdigest() == file.sha256", '.hexdigest() != ""'),
        (
            "or noted.made_of.facts != facts:\n            return None\n        if not",
            "or False:\n            return None\n        if not",
        ),
        (
            "    if len(known) < len(inputs) or _has_changed(found):",
            "    if len(known) < len(inputs):",
        ),
        ("    if len(known) < len(inputs) or _has_changed(found):", "    if _has_changed(found):"),
        ("if sha256 is not None and stamp.is_settled():", "if sha256 is not None:"),
    ),
    "record/hashes.py": (
        (
            "if seen is None or seen != _stamp(path):  # written since",
            "if seen is None:  # written since",
        ),
        ("return found if seen == opened.stamp else None", "return found"),
        (
            "times = (seen.size, seen.modified_ns, seen.changed_ns)",
            "times = (known and known.bytes, seen.modified_ns, seen.changed_ns)",
        ),
        (
            "times = (seen.size, seen.modified_ns, seen.changed_ns)",
            "times = (seen.size, known and known.modified_ns, seen.changed_ns)",
        ),
        (
            "times = (seen.size, seen.modified_ns, seen.changed_ns)",
            "times = (seen.size, seen.modified_ns, known and known.changed_ns)",
        ),
    ),
    "record/report.py": (
        (
            '            if values.pop("checksum") != _checksum(values):\n                return None\n',
            '            values.pop("checksum")\n',
        ),
        (
            'if values.pop("evenfall_report") != REPORT_FORMAT:',
            'if values.pop("evenfall_report") is None:',
        ),
        ("TypeError, AttributeError, RecursionError)", "TypeError, AttributeError)"),
    ),
    "record/thumbnails.py": (
        ("or hashlib.sha256(body.tobytes()).digest() != checksum", ""),
        ("if body.size != 3 * size[0] * size[1] or", "if"),
        ("return body.reshape(size[1], size[0], 3)", "return body.reshape(size[0], size[1], 3)"),
    ),
    "produce/targets.py": (
        (
            "path.resolve() for path in (recipe.path, *bases, *named, *further)",
            "path.resolve() for path in (recipe.path, *bases, *named)",
        ),
        (
            "path.resolve() for path in (recipe.path, *bases, *named, *further)",
            "path.resolve() for path in (*bases, *named, *further)",
        ),
        ("if path.resolve() in inputs", "if path in inputs"),
        ('path = path.with_stem(f"{path.stem}_{number + 1}")', "pass"),
        ("tuple(moods) == tuple(recipe.moods)", "True"),
    ),
    "produce/folder.py": (
        ("    if in_the_way:\n", "    if False:\n"),
        ("            remove_leftovers(out)\n", ""),
        ("        _take_away(made)\n", "        pass\n"),
        ("    except Claimed as error:\n", "    except ZeroDivisionError as error:\n"),
    ),
    "produce/plan.py": (
        ("    to_mix -= checked.unusable.keys()\n", ""),
        ("            if known and len(known) == len(in_order):", "            if known:"),
        (
            "        if mood in busy:\n            continue\n",
            "",
            "a small picture of the same facts is the one that is made again; it only saves reading",
        ),
        (
            "elif target.mood not in checked.unusable:",
            "elif True:",
        ),
    ),
    "produce/making.py": (
        (
            '        self._write_report("begun")  # should this process die, the next run knows whose file it is\n',
            "",
        ),
        ("        self.notes.take_away()\n", ""),
    ),
    "produce/films.py": (
        (
            "            _note(film, file, _used(film, frames))  # first, or a film whose maker died is nobody's\n            write_atomically(film.path, data, overwrite=overwrite)\n",
            "            write_atomically(film.path, data, overwrite=overwrite)\n            _note(film, file, _used(film, frames))\n",
        ),
    ),
    "record/part_notes.py": (
        ("            if RunReport.read(note.report, self._out) == note:", "            if True:"),
        (
            "        old_files |= {file.path: file for file in (*report.earlier_files, *report.files)}\n",
            "",
        ),
    ),
    "record/former.py": (
        ("        return brought if is_intact(brought) else None", "        return brought"),
        (
            "            if not os.path.lexists(path):\n                put_whole(path, former.path.read_bytes(), replace=False)\n",
            "            put_whole(path, former.path.read_bytes(), replace=True)\n",
        ),
    ),
    "system/opened.py": (
        ("        if Stamp.of(os.fstat(stream.fileno())) != stamp:", "        if False:"),
        ("_COARSE_STEP_NS if whole else _FINE_STEP_NS", "_FINE_STEP_NS"),
        ("        note_opened(*self._openings)\n", ""),
        ("status.st_dev, status.st_ino, status.st_size", "status.st_dev, 0, status.st_size"),
    ),
    "system/regular.py": (
        ('getattr(os, "O_NONBLOCK", 0)', "0"),
        ("    if stat.S_ISREG(mode):\n        return None\n", "    return None\n"),
    ),
}
