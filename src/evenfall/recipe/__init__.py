"""What the person wrote: the recipe, read, checked and written back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfall.late import late_names

if TYPE_CHECKING:
    from evenfall.recipe.areas import Area, Gradient
    from evenfall.recipe.camera import Camera, CameraSettings, Meter, WhiteBalance
    from evenfall.recipe.deliverables import Deliverable, Draft, Print, Sheet
    from evenfall.recipe.gains import Match
    from evenfall.recipe.lights import Light, LightSetting, Rendered, Role
    from evenfall.recipe.look import Look
    from evenfall.recipe.model import Beauty, Passes, Project, RecipeModel, Repair
    from evenfall.recipe.moods import Daylight, Mood, Overlay, Plate, Region
    from evenfall.recipe.recipe import Recipe, load
    from evenfall.recipe.resolve import ResolvedMood

__all__ = [
    "Area",
    "Beauty",
    "Camera",
    "CameraSettings",
    "Daylight",
    "Deliverable",
    "Draft",
    "Gradient",
    "Light",
    "LightSetting",
    "Look",
    "Match",
    "Meter",
    "Mood",
    "Overlay",
    "Passes",
    "Plate",
    "Print",
    "Project",
    "Recipe",
    "RecipeModel",
    "Region",
    "Rendered",
    "Repair",
    "ResolvedMood",
    "Role",
    "Sheet",
    "WhiteBalance",
    "load",
]

__getattr__, __dir__ = late_names(
    __name__,
    {
        "areas": ("Area", "Gradient"),
        "camera": ("Camera", "CameraSettings", "Meter", "WhiteBalance"),
        "deliverables": ("Deliverable", "Draft", "Print", "Sheet"),
        "gains": ("Match",),
        "lights": ("Light", "LightSetting", "Rendered", "Role"),
        "look": ("Look",),
        "model": ("Beauty", "Passes", "Project", "RecipeModel", "Repair"),
        "moods": ("Daylight", "Mood", "Overlay", "Plate", "Region"),
        "recipe": ("Recipe", "load"),
        "resolve": ("ResolvedMood",),
    },
)
