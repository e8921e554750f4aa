"""The plan under way as the text of a file, for whoever asks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.errors import InputError

if TYPE_CHECKING:
    from goosewing.records import Plan

FORMATS = ("gpx", "handheld")


def exported(plan: Plan | None, wanted: object) -> str:
    """Write the plan in one of the formats.

    Raises
    ------
    InputError
        If there is no plan, or no such format.
    """
    if wanted not in FORMATS:
        raise InputError(f'export: format must be "gpx" or "handheld", got {wanted!r}')
    if plan is None:
        raise InputError("export: there is no plan")
    if wanted == "gpx":
        from goosewing.exchange.gpx.plans import format_plan

        return format_plan(plan)
    from goosewing.exchange.handheld.files import format_contents
    from goosewing.exchange.handheld.plans import fit_plan

    return format_contents(fit_plan(plan).contents)
