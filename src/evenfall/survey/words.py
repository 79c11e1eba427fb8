"""Words of the trade in names of files and layers, in several languages, and what they mean.

Names are cut into words at signs, digits and capitals; accents are taken off, letters of other
alphabets stay. A word counts in singular and plural; an entry of two words counts where they follow
each other. Words in ``ALONE`` lists count only where the name holds nothing else.
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Literal

from evenfall.recipe.lights import Role

__all__ = [
    "ALONE",
    "BEAUTY_WORDS",
    "CAMERA_WORDS",
    "DATA_WORDS",
    "FILLING_WORDS",
    "MARKS",
    "PART_WORDS",
    "ROLE_WORDS",
    "SOURCE_WORDS",
    "UNNAMED_WORDS",
    "Component",
    "first_of",
    "plain",
    "words_of",
]

Component = Literal[
    "direct",
    "indirect",
    "diffuse",
    "specular",
    "reflection",
    "refraction",
    "transmission",
    "subsurface",
    "emission",
    "volume",
    "coat",
    "sheen",
    "background",
    "lighting",
    "raw",
    "shadow",
]
"""Parts that the light of a picture can be split into; raw light and shadow add up to nothing."""

ROLE_WORDS: Mapping[Role, tuple[str, ...]] = {
    "key": (
        *("sun", "sunlight", "key", "main", "moon", "moonlight", "sonne", "sonnenlicht", "mond"),
        *("soleil", "lune", "sol", "luna", "sole", "lua", "zon", "maan", "太陽", "太阳", "日光"),
        *("солнце", "луна", "сонце", "태양", "ήλιος", "slunce", "slonce", "gune", "aurinko"),
        *("mondlicht", "hauptlicht", "fuhrungslicht", "zonlicht", "maanlicht", "hoofdlicht"),
        *("sonnenschein", "solljus", "sollys", "manljus", "auringonvalo", "月光", "月明かり"),
        *("soare", "شمس", "שמש", "सूरज", "ดวงอาทิตย์"),
    ),
    "sky": (
        *("sky", "skylight", "dome", "environment", "env", "hdri", "overcast", "daylight"),
        *("tageslicht", "himmelslicht", "umgebungslicht", "daglicht", "omgevingslicht", "dagsljus"),
        *("dagslys", "paivanvalo", "環境光", "环境光"),
        *("himmel", "umgebung", "ciel", "environnement", "cielo", "ceu", "entorno", "ambiente"),
        *("hemel", "天空", "空", "небо", "하늘", "ουρανός", "obloha", "niebo", "gokyuzu", "taivas"),
        *("سماء", "שמיים", "आसमान", "ท้องฟ้า"),
    ),
    "fill": (
        *("fill", "bounce", "reflector", "softbox", "ambient", "portal", "aufhellung"),
        *("fulllicht", "aufhelllicht", "invullicht"),
        *("remplissage", "relleno", "riempimento", "preenchimento"),
    ),
    "outdoor fixture": (
        *("outdoor", "outside", "exterior", "garden", "terrace", "patio", "facade", "street"),
        *("balcony", "porch", "path", "bollard", "driveway", "courtyard", "landscape", "pool"),
        *("garten", "terrasse", "fassade", "balkon", "aussen", "hof", "jardin", "balcon"),
        *("exterieur", "terraza", "terrazza", "giardino", "facciata", "fachada", "esterno"),
        *("strasse", "laterne", "poller", "einfahrt", "rue", "reverbere", "piscine", "allee"),
        *("calle", "farola", "piscina", "baliza", "strada", "lampione", "viale", "rua", "jardim"),
        *("varanda", "quintal", "tuin", "straat", "streetlamp", "streetlight", "carport"),
    ),
    "glow": (
        *("glow", "screen", "tv", "television", "monitor", "display", "sign", "emissive"),
        *("emission", "fire", "fireplace", "candle", "neon", "stove", "oven", "hearth", "ember"),
        *("feuer", "kamin", "kerze", "bildschirm", "ofen", "feu", "cheminee", "bougie", "ecran"),
        *("kerzenlicht", "kaminlicht", "feuerschein", "leuchtschrift", "leuchtreklame", "signage"),
        *("enseigne", "insegna", "rotulo", "letrero", "lichtreclame"),
        *("fuego", "chimenea", "vela", "pantalla", "fuoco", "candela", "schermo"),
    ),
    "fixture": (
        *("fixture", "pendant", "lamp", "spot", "spotlight", "downlight", "sconce", "cove"),
        *("strip", "led", "chandelier", "lantern", "ceiling", "wall", "floor", "table", "desk"),
        *("bedside", "shelf", "cabinet", "island", "kitchen", "vanity", "mirror", "track"),
        *("recessed", "uplight", "bulb", "tube", "linear", "luminaire", "undercabinet"),
        *("bathroom", "hall", "stair", "wardrobe", "reading", "practical", "interior", "indoor"),
        *("lampe", "leuchte", "licht", "strahler", "pendel", "decke", "wand", "regal", "kuche"),
        *("lampadaire", "plafonnier", "applique", "suspension", "lustre", "cuisine", "plafond"),
        *("lampara", "foco", "techo", "cocina", "aplique", "lampada", "faretto", "soffitto"),
        *("cucina", "luminaria", "лампа", "люстра", "照明", "灯", "ランプ", "ライト"),
        *("조명", "램프", "λάμπα", "lampa", "lamba", "lamppu", "مصباح", "מנורה", "दीपक", "โคมไฟ"),
    ),
}
"""Words that give a light its role; the first role with a word in the name wins."""

SOURCE_WORDS = frozenset(
    (
        *("sun", "sky", "moon", "fill", "lamp", "lantern", "pendant", "spot", "spotlight"),
        *("downlight", "uplight", "sconce", "cove", "strip", "led", "chandelier", "luminaire"),
        *("bulb", "tube", "screen", "candle", "light", "lampe", "leuchte", "licht", "lampara"),
        *("lampada", "luce", "luz", "lumiere"),
    )
)
"""Words that say what shines: they stay though all names share them."""

FILLING_WORDS = frozenset(("light", "lightgroup", "group", "pass", "layer", "licht", "lumiere"))
"""Words that say only that something is a light or a pass."""

BEAUTY_WORDS = frozenset(
    (
        *("beauty", "all", "combined", "composite", "comp", "full", "total", "final", "master"),
        *("complete", "everything", "gesamt", "alles", "komplett", "gesamtbild", "tout", "complet"),
        *("compose", "ensemble", "todo", "completo", "combinado", "tutto", "completa", "combinata"),
        *("tudo", "allemaal", "合成", "全部", "完成"),
    )
)
"""Words that mean all lights at once, if the name says nothing of a light."""

UNNAMED_WORDS = frozenset(
    ("rgb", "rgba", "color", "colour", "image", "picture", "render", "rendered", "result")
)
"""Names that layers and parts have where the picture has no name of its own."""

CAMERA_WORDS = frozenset(
    (
        *("cam", "camera", "view", "viewpoint", "shot", "kamera", "ansicht", "blick", "vue"),
        *("vista", "camara", "plano", "inquadratura", "cenital"),
    )
)
"""Words of names of cameras and views."""

DATA_WORDS: Mapping[str, tuple[str, ...]] = {
    "ids and mattes": (
        *("id", "matte", "mask", "multimatte", "rgbmatte", "crypto", "cryptomatte", "cryptoobject"),
        *("cryptomaterial", "cryptoasset", "objectid", "materialid", "wirecolor", "wire color"),
        *("wire colour", "clown", "stencil", "holdout", "segmentation", "object index"),
        *("material index", "indexob", "indexma", "puzzle", "maske", "masque", "mascara"),
        *("maschera", "objekt id", "material select", "マスク"),
    ),
    "depth": (
        *("depth", "zdepth", "zbuffer", "distance", "tiefe", "profondeur", "profundidad"),
        *("profondita", "profundidade", "深度"),
    ),
    "normals": (
        *("normal", "nrm", "bumpnormal", "normale", "worldnormal", "法線", "法线"),
        *("normalen", "facenormal"),
    ),
    "positions": (
        *("position", "pos", "pworld", "pref", "worldposition", "worldpos", "world position"),
        *("posizione", "posicion", "posicao"),
    ),
    "motion": (
        *("motion", "velocity", "motionvector", "vector", "bewegung", "mouvement", "movimiento"),
        *("movimento", "optical flow", "ベロシティ"),
    ),
    "surface coordinates": ("uv", "uvw", "texcoord", "texture coordinate", "textur koordinate"),
    "surface colour": (
        *("albedo", "reflectance", "basecolor", "base color", "base colour", "diffuse filter"),
        *("diffuse color", "diffuse colour", "reflection filter", "refraction filter"),
        *("texture color", "diff col", "gloss col", "trans col", "diffcol", "glosscol"),
        *("transcol", "specular color", "diffusecolor", "albedofarbe"),
    ),
    "samples and noise": (
        *("sample", "samplerate", "sample rate", "variance", "noise", "noiselevel", "denoiser"),
        *("denoise", "denoising", "samplecount", "heatmap", "rauschen", "bruit", "ruido"),
        *("rumore", "confidence"),
    ),
    "shading data": (
        *("ao", "occlusion", "roughness", "glossiness", "ior", "facing", "fresnel", "curvature"),
        *("wireframe", "bump", "tangent", "thickness", "barycentric", "facingratio", "rauheit"),
        *("metalness", "metallic", "displacement"),
    ),
    "alpha": ("alpha", "opacity", "coverage", "deckkraft", "opacite", "transparency"),
    "comparison": ("truth", "reference", "relit", "referenz"),
}
"""Words of pictures that hold no light, by what they hold."""

ALONE: Mapping[str, tuple[str, ...]] = {
    "depth": ("z", "zz", "mist", "nebel"),
    "normals": ("n", "nn", "ng", "ns"),
    "positions": ("p", "pp", "point", "points", "pworld", "pcam"),
    "surface coordinates": ("st", "u", "v", "uv"),
    "motion": ("mv", "speed"),
    "ids and mattes": ("ids", "object", "material", "crypto"),
    "samples and noise": ("time", "stats"),
}
"""Names of a single word that hold no light, by what they hold."""

PART_WORDS: Mapping[Component, tuple[str, ...]] = {
    "direct": ("direct", "direkt", "directe", "directa", "diretta", "direta", "直接"),
    "indirect": (
        *("indirect", "gi", "globalillumination", "global illumination", "bounced", "indirekt"),
        *("indirecte", "indirecta", "indiretta", "indireta", "間接", "间接"),
    ),
    "diffuse": ("diffuse", "diff", "diffus", "difusa", "difuso", "diffusa", "diffuso", "拡散"),
    "specular": (
        *("specular", "spec", "glossy", "gloss", "speculaire", "especular", "speculare"),
        *("spekular", "glanz", "highlight", "caustic", "kaustik", "caustique", "鏡面"),
    ),
    "reflection": (
        *("reflection", "reflect", "refl", "reflexion", "spiegelung", "riflessione", "reflexo"),
        *("riflesso", "反射"),
    ),
    "refraction": (
        *("refraction", "refract", "refr", "brechung", "refraccion", "rifrazione", "屈折"),
    ),
    "transmission": ("transmission", "trans", "translucency", "translucent", "transmissive"),
    "subsurface": ("sss", "subsurface", "sub surface", "scattering"),
    "emission": (
        *("emission", "emissive", "emit", "selfillumination", "self illumination", "selfillum"),
        *("self illum", "incandescence", "eigenleuchten", "selbstleuchten"),
    ),
    "volume": ("volume", "volumetric", "atmosphere", "atmospheric"),
    "coat": ("clearcoat", "coat"),
    "sheen": ("sheen",),
    "background": (
        *("background", "hintergrund", "arriereplan", "arriere plan", "fondo", "sfondo"),
        *("fundo", "backdrop", "背景"),
    ),
    "lighting": ("lighting", "illumination", "irradiance", "beleuchtung", "eclairage"),
    "raw": ("raw",),
    "shadow": ("shadow", "schatten", "ombre", "sombra", "ombra", "影"),
}
"""Words of parts of light, by what part they are."""

MARKS = (
    "\u0591-\u05c7\u0610-\u061a\u064b-\u065f\u0670\u0900-\u0963\u0971-\u0dff"
    "\u0e31-\u0e3a\u0e47-\u0e4e\u0eb1-\u0ebc\u0ec8-\u0ecd\u102b-\u103e\u17b4-\u17d3"
)
"""Vowels and tones that stand at letters as marks: Hebrew, Arabic, the scripts of India, Thai, Lao,
Burmese, Khmer; for sets of signs in regular expressions."""

_WORD = re.compile(rf"\d+|[^\W\d_](?:[^\W\d_]|[{MARKS}])*")
_HUMP = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_LIGATURES = str.maketrans(
    {"ß": "ss", "æ": "ae", "œ": "oe", "ø": "o", "đ": "d", "ð": "d", "þ": "th", "ł": "l"}
)


def plain(text: str) -> str:
    """Take accents off Latin letters; letters of other alphabets stay as they are.

    Examples
    --------
    >>> plain("Küchenlicht"), plain("ciel été"), plain("太陽"), plain("Straße")
    ('Kuchenlicht', 'ciel ete', '太陽', 'Strasse')
    """
    signs = []
    for sign in unicodedata.normalize("NFC", text.translate(_LIGATURES)):
        taken_apart = unicodedata.normalize("NFKD", sign)
        bare = taken_apart[0].isascii() and all(map(unicodedata.combining, taken_apart[1:]))
        signs.append(taken_apart[0] if bare else sign)
    return "".join(signs)


def words_of(name: str) -> tuple[str, ...]:
    """Words of a name in lower case: parted by signs, digits and capitals, without a plural s.

    Examples
    --------
    >>> words_of("GardenLamps_02"), words_of("uvPass"), words_of("été")
    (('garden', 'lamp', '02'), ('uv', 'pass'), ('ete',))
    """
    found = _WORD.findall(plain(name))
    return tuple(_singular(word.lower()) for run in found for word in _HUMP.split(run))


def _singular(word: str) -> str:
    plural = len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is"))
    return word[:-1] if plural else word


def first_of(words: Sequence[str], known: Sequence[str]) -> str | None:
    """First of the known words, or pairs of words, that is among the words of a name.

    Words of alphabets without gaps between words are looked for inside words too.

    Examples
    --------
    >>> first_of(("raw", "wire", "color"), ("id", "wire color"))
    'wire color'
    """
    pairs = {" ".join(pair) for pair in itertools.pairwise(words)}
    for word in known:
        if word in words or word in pairs:
            return word
        if not word.isascii() and any(word in each for each in words):
            return word
    return None
