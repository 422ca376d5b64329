"""From a template and what stands on the sheet to a tagged PDF (PDF/UA-1). Nothing is fetched but our own files."""

from pathlib import Path
from urllib.parse import unquote, urlsplit

from django.conf import settings
from django.template.loader import render_to_string
from django.utils import translation
from weasyprint import CSS, HTML
from weasyprint.urls import FatalURLFetchingError, URLFetcher

from patients.models import Clinic

PDF_VARIANT = "pdf/ua-1"
STATIC_DIR = settings.BASE_DIR / "static"
STYLESHEET = STATIC_DIR / "sheet.css"
PAGE_SIZES = {Clinic.Paper.A4: "A4", Clinic.Paper.LETTER: "letter"}  # CSS names of the paper


class ForeignAddressError(FatalURLFetchingError):
    """A sheet named something that is not one of our own static files."""


class OwnFilesOnly(URLFetcher):
    """Fetcher that opens `data:` and files below our static folder, and stops the sheet at anything else."""

    def fetch(self, url, headers=None):
        if not url.startswith("data:") and not _is_own_file(url):
            raise ForeignAddressError(url)
        return super().fetch(url, headers)


def _is_own_file(url: str) -> bool:
    address = urlsplit(url)
    path = Path(unquote(address.path)).resolve()
    return address.scheme == "file" and not address.netloc and path.is_relative_to(STATIC_DIR)


def sheet_html(template: str, sheet, paper: str) -> str:
    """HTML of a sheet in the active language."""
    return render_to_string(template, {"sheet": sheet, "paper": paper, "language": translation.get_language()})


def sheet_pdf(template: str, sheet, paper: str) -> bytes:
    """PDF of a sheet in the active language on A4 or Letter; raises ForeignAddressError for an address not our own."""
    fetcher = OwnFilesOnly()
    styles = [
        CSS(filename=STYLESHEET, url_fetcher=fetcher),
        CSS(string=f"@page {{ size: {PAGE_SIZES[Clinic.Paper(paper)]} }}", url_fetcher=fetcher),
    ]
    document = HTML(string=sheet_html(template, sheet, paper), base_url=str(STATIC_DIR), url_fetcher=fetcher)
    return document.write_pdf(pdf_variant=PDF_VARIANT, stylesheets=styles)
