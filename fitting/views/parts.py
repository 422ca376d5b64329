"""Pages whose rows can be fetched alone."""


def wants_rows_only(request) -> bool:
    """Whether htmx asks for the rows to put into the page it stands on; going back asks for the page."""
    return bool(request.htmx) and not request.htmx.history_restore_request
