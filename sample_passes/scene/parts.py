"""The list of parts that the modelling modules fill and the scene is built from."""

from __future__ import annotations

from dataclasses import dataclass, field

from geometry import Mesh, joined


@dataclass
class Parts:
    """Meshes gathered by the object they belong to and the material they are made of."""

    meshes: dict[tuple[str, str], list[Mesh]] = field(default_factory=dict)

    def add(self, thing: str, material: str, *meshes: Mesh) -> None:
        """Add meshes of one material to a named object."""
        self.meshes.setdefault((thing, material), []).extend(meshes)

    def merged(self) -> dict[tuple[str, str], Mesh]:
        """Return one mesh per object and material."""
        return {key: joined(meshes) for key, meshes in self.meshes.items()}
