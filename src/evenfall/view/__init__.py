"""The face of evenfall: a view opened, and everything that can be done with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from evenfall.late import late_names

if TYPE_CHECKING:
    from evenfall.view.boards import write_board
    from evenfall.view.checks import Checked
    from evenfall.view.handbacks import handback_text, write_handbacks
    from evenfall.view.opening import open_view
    from evenfall.view.pages import (
        CommentsTaken,
        add_comments,
        add_comments_to_all,
        answer_comment,
        comment_words,
        draw_comments,
        load_comments,
        write_page,
    )
    from evenfall.view.plans import plan_view, write_plan
    from evenfall.view.project_sheet import sheet_of_all
    from evenfall.view.records import read_provenance
    from evenfall.view.several import ViewRun, farm_out_views, find_recipes, open_views, run_views
    from evenfall.view.surveys import survey_folder
    from evenfall.view.view import View

__all__ = [
    "Checked",
    "CommentsTaken",
    "View",
    "ViewRun",
    "add_comments",
    "add_comments_to_all",
    "answer_comment",
    "comment_words",
    "draw_comments",
    "farm_out_views",
    "find_recipes",
    "handback_text",
    "load_comments",
    "open_view",
    "open_views",
    "plan_view",
    "read_provenance",
    "run_views",
    "sheet_of_all",
    "survey_folder",
    "write_board",
    "write_handbacks",
    "write_page",
    "write_plan",
]

__getattr__, __dir__ = late_names(
    __name__,
    {
        "boards": ("write_board",),
        "checks": ("Checked",),
        "handbacks": ("handback_text", "write_handbacks"),
        "opening": ("open_view",),
        "pages": (
            "CommentsTaken",
            "add_comments",
            "add_comments_to_all",
            "answer_comment",
            "comment_words",
            "draw_comments",
            "load_comments",
            "write_page",
        ),
        "plans": ("plan_view", "write_plan"),
        "project_sheet": ("sheet_of_all",),
        "records": ("read_provenance",),
        "several": ("ViewRun", "farm_out_views", "find_recipes", "open_views", "run_views"),
        "surveys": ("survey_folder",),
        "view": ("View",),
    },
)
