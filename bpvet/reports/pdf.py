"""Pages as PDF: the extra ``pdf`` sets what a browser would print, and nothing is fetched."""

from __future__ import annotations

import io
from typing import Any

from bpvet.errors import CallError


def refuse_without_setter() -> None:
    """Raise a `CallError` where no PDF can be made, and say what is missing."""
    _setter()


def pdf_bytes(html: str, mark: str, paper: str = "") -> bytes:
    """Return a page as a PDF.

    Parameters
    ----------
    html : str
        A page as `bpvet.reports.page.document` returns it.
    mark : str
        Kind of the report and a digest of whose it is; it becomes the file's identifier, by
        which `bpvet.reports.files.refuse_foreign` knows it again.
    paper : str
        ``A4`` or ``letter``; blank for a page whose style sheet names its own.

    Returns
    -------
    bytes
        The same for the same page, on one machine and set of versions.

    Raises
    ------
    CallError
        Where the extra, or the system's library for setting text, is not there.
    """
    weasyprint, fetcher = _setter()
    sheets = [weasyprint.CSS(string=f"@page {{ size: {paper} }}")] if paper else []
    made = weasyprint.HTML(string=html, url_fetcher=fetcher).render(stylesheets=sheets)
    file = io.BytesIO()
    made.write_pdf(file, pdf_identifier=mark.encode("ascii"))
    return file.getvalue()


def _setter() -> tuple[Any, Any]:
    """Return the library that sets pages, and a fetcher that knows nothing but what they hold."""
    try:
        import weasyprint
        from weasyprint.urls import URLFetcher
    except ImportError as error:
        raise CallError(
            "A PDF needs the extra “pdf”. Install it with: pip install 'bpvet[pdf]', or print the "
            "page from any browser."
        ) from error
    except OSError as error:
        raise CallError(
            "A PDF needs the system's library Pango, which was not found (on Debian: apt-get "
            "install libpango-1.0-0 libpangoft2-1.0-0). Install it, or print the page from any "
            "browser."
        ) from error
    return weasyprint, URLFetcher(allowed_protocols=("data",))
