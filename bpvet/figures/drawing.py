"""Any picture drawn: by the module of its kind, as a figure of its own or in somebody's Axes."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from bpvet.figures.clinic.agreement_picture import AgreementPicture
from bpvet.figures.clinic.audit_picture import AuditPicture
from bpvet.figures.clinic.panels_picture import CohortPicture
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.sheet import FULL_WIDTH, Region, region_of

Picture = TrendPicture | AgreementPicture | AuditPicture | CohortPicture


def drawn(picture: Picture, width_mm: float = FULL_WIDTH, region: Region | None = None) -> Figure:
    """Return a picture drawn by the module of its kind, which is loaded for it."""
    if isinstance(picture, TrendPicture):
        from bpvet.figures.trend import draw as draw_trend

        return draw_trend(picture, width_mm, region)
    if isinstance(picture, AgreementPicture):
        from bpvet.figures.clinic.agreement import draw as draw_agreement

        return draw_agreement(picture, width_mm, region)
    if isinstance(picture, AuditPicture):
        from bpvet.figures.clinic.audit import draw as draw_audit

        return draw_audit(picture, width_mm, region)
    from bpvet.figures.clinic.cohort import draw as draw_cohort

    return draw_cohort(picture, width_mm, region)


def plotted(picture: Picture, ax: Axes | None, width_mm: float = FULL_WIDTH) -> Figure | Axes:
    """Return a picture drawn as a figure of its own, or in somebody's Axes, which it then returns.

    Parameters
    ----------
    picture
    ax : matplotlib.axes.Axes, optional
        Its box is filled with the whole picture: it becomes the first panel, smaller than it was,
        with the title above, further panels and the key in what it leaves.
    width_mm : float
        Width of a figure of its own; the height follows.

    Raises
    ------
    CallError
        Where `ax` is no Axes, or its box is too small for the picture to be read.
    """
    if ax is None:
        return drawn(picture, width_mm)
    drawn(picture, region=region_of(ax))
    return ax
