"""Pages put on paper: a PDF of a page of ours, made without asking anybody for anything."""

from mowalert.errors import InputError


def as_pdf(html: str) -> bytes:
    """Return a page as a PDF.

    Parameters
    ----------
    html : str
        A whole page with its own style; what it points to elsewhere is left out.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InputError
        If this installation makes no PDF.
    """
    try:
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError) as error:
        raise InputError(
            "PDF needs the extra `crews` and the Pango library (Debian: libpangoft2-1.0-0 "
            "libharfbuzz-subset0); the printable page does without"
        ) from error
    # A sheet is whole as it is: it fetches neither a file nor an address.
    nothing = URLFetcher(allowed_protocols=())
    return bytes(HTML(string=html, url_fetcher=nothing).write_pdf())
