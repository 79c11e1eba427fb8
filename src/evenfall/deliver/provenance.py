"""Where a picture came from, carried inside it and read back.

The record holds the recipe's text, the mood, the fingerprints of the passes and the version, as
JSON. It travels in an XMP packet (ISO 16684-1) in PNG, JPEG, TIFF and AVIF, and in a string
attribute in OpenEXR. Title, author and copyright are also written where clients' programs look:
Dublin Core in XMP, Exif, PNG text, TIFF tags, OpenEXR `owner` and `comments`.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from evenfall.recipe.clock import frame_numbers

__all__ = ["RECORD_NAMESPACE", "Provenance", "record_from_xmp", "xmp_packet"]

RECORD_NAMESPACE = "urn:evenfall:record:1#"
_PACKET = (
    '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
    '<x:xmpmeta xmlns:x="adobe:ns:meta/">'
    '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    '<rdf:Description rdf:about=""'
    ' xmlns:dc="http://purl.org/dc/elements/1.1/"'
    ' xmlns:xmp="http://ns.adobe.com/xap/1.0/"'
    ' xmlns:xmpNote="http://ns.adobe.com/xmp/note/"'
    ' xmlns:evenfall="{namespace}">'
    "{properties}"
    "</rdf:Description></rdf:RDF></x:xmpmeta>\n"
    '<?xpacket end="r"?>'
)
_KINDS: Mapping[str, type] = {"passes": dict, "changes": list, "draft": bool, "views": list}
"""What is no text in a record."""

_RECORD = re.compile(r"<evenfall:record>(.*?)</evenfall:record>", re.DOTALL)
_ENTITIES = {"&lt;": "<", "&gt;": ">", "&quot;": '"', "&apos;": "'", "&amp;": "&"}
# All but the characters of XML 1.0, 2.2; written so that it is quick to compile.
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]|[\ud800-\udfff]|[\ufffe\uffff]")


@dataclass(frozen=True)
class Provenance:
    """Where a picture came from.

    Parameters
    ----------
    recipe : str
        File name of the recipe.
    recipe_text : str
        Its whole text.
    mood : str
        Name of the mood; empty for a picture of several, such as a contact sheet.
    passes : mapping of str to str
        Fingerprint by light, "sha256:...".
    version : str
        Version of evenfall.
    changes : tuple of str
        One-off changes given beside the recipe.
    draft : bool
        Whether it is a draft.
    frames : str
        Of a film of a walk, the numbers of the frames that it shows, "1-100, 205".
    is_told : bool
        False: the file carries no record, only what is for people.
    title, author, copyright, description : str
        For people; empty when unknown.
    views : tuple of Provenance
        Of a picture of several views, such as the contact sheet of a project, what each follows
        from; `recipe` is then what the project is called, and has no text.
    """

    recipe: str
    recipe_text: str
    mood: str
    passes: Mapping[str, str] = field(default_factory=dict)
    version: str = ""
    changes: tuple[str, ...] = ()
    draft: bool = False
    frames: str = ""
    is_told: bool = True
    title: str = ""
    author: str = ""
    copyright: str = ""
    description: str = ""
    views: tuple[Provenance, ...] = ()

    @property
    def software(self) -> str:
        """Name and version of what made the picture."""
        return f"evenfall {self.version}".strip()

    def to_json(self) -> str:
        """Everything as one line of JSON.

        Examples
        --------
        >>> record = Provenance("villa.toml", "format = 1", "dusk", {"sun": "sha256:ab"}, "1.0")
        >>> Provenance.from_json(record.to_json()) == record
        True
        """
        values = {**self.__dict__, "passes": dict(self.passes), "changes": list(self.changes)}
        del values["is_told"], values["views"]
        if not self.frames:
            del values["frames"]
        if self.views:
            values["views"] = [json.loads(view.to_json()) for view in self.views]
        return json.dumps({"evenfall_record": 1, **values}, ensure_ascii=False)

    @classmethod
    def from_json(cls, text: str) -> Provenance:
        """Read what `to_json` wrote; unknown keys of later versions are left out.

        Raises
        ------
        ValueError
            If the text is not such a record.
        """
        values = json.loads(text)
        if not isinstance(values, dict) or "evenfall_record" not in values:
            raise ValueError("no evenfall record")
        known = {name: values[name] for name in cls.__dataclass_fields__ if name in values}
        missing = {"recipe", "recipe_text", "mood"} - set(known)
        if missing:
            raise ValueError(f"the record lacks {', '.join(sorted(missing))}")
        _check_kinds(known)
        known["changes"] = tuple(known.get("changes", ()))
        known["views"] = tuple(cls.from_json(json.dumps(view)) for view in known.get("views", ()))
        return cls(**known)


def _check_kinds(values: Mapping[str, Any]) -> None:
    """Refuse values of other kinds than are written, and frames that are no numbers."""
    wrong = [key for key, one in values.items() if not isinstance(one, _KINDS.get(key, str))]
    if not wrong:
        texts = {"changes": values.get("changes", ()), "passes": values.get("passes", {}).values()}
        wrong = [key for key, some in texts.items() if not all(isinstance(t, str) for t in some)]
    if wrong:
        raise ValueError(f"{', '.join(wrong)} of another kind than is written")
    if values.get("frames"):
        frame_numbers(values["frames"])


def xmp_packet(provenance: Provenance, *, extended: str = "") -> bytes:
    """XMP packet with the record and the properties that clients' programs show; UTF-8.

    Characters that XML cannot hold are left out of the properties; the record escapes them.

    Parameters
    ----------
    provenance : Provenance
        What to say.
    extended : str
        MD5 of the whole packet when it is too long for one JPEG segment: the packet then points to
        it instead of holding the record.

    Examples
    --------
    >>> packet = xmp_packet(Provenance("villa.toml", "format = 1", "dusk"))
    >>> record_from_xmp(packet).mood
    'dusk'
    """
    parts = []
    for name, text, container in (
        ("dc:title", provenance.title, "Alt"),
        ("dc:creator", provenance.author, "Seq"),
        ("dc:rights", provenance.copyright, "Alt"),
        ("dc:description", provenance.description, "Alt"),
    ):
        if text:
            language = ' xml:lang="x-default"' if container == "Alt" else ""
            item = f"<rdf:li{language}>{_xml(text)}</rdf:li>"
            parts.append(f"<{name}><rdf:{container}>{item}</rdf:{container}></{name}>")
    parts.append(f"<xmp:CreatorTool>{_xml(provenance.software)}</xmp:CreatorTool>")
    if extended:
        parts.append(f"<xmpNote:HasExtendedXMP>{extended}</xmpNote:HasExtendedXMP>")
        return _PACKET.format(namespace=RECORD_NAMESPACE, properties="".join(parts)).encode()
    if not provenance.is_told:
        return _PACKET.format(namespace=RECORD_NAMESPACE, properties="".join(parts)).encode()
    record = _NOT_IN_XML.sub(lambda match: f"\\u{ord(match[0]):04x}", provenance.to_json())
    parts.append(f"<evenfall:record>{_escaped(record)}</evenfall:record>")
    packet = _PACKET.format(namespace=RECORD_NAMESPACE, properties="".join(parts))
    return packet.encode()


def record_from_xmp(packet: bytes) -> Provenance | None:
    """Record inside an XMP packet, or None.

    Raises
    ------
    ValueError
        If there is a record that does not read.
    """
    match = _RECORD.search(packet.decode(errors="replace"))
    return Provenance.from_json(_unescaped(match[1])) if match else None


def _xml(text: str) -> str:
    return _escaped(_NOT_IN_XML.sub("", text))


def _escaped(text: str) -> str:
    """Escape as `xml.sax.saxutils` does, which takes longer to import than all of this."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _unescaped(text: str) -> str:
    for entity, character in _ENTITIES.items():  # the ampersand last
        text = text.replace(entity, character)
    return text
