import pytest
from django.conf import settings
from weasyprint import HTML

from fitting.sheets.render import PAGE_SIZES, STATIC_DIR, ForeignAddressError, OwnFilesOnly
from patients.models import Clinic


@pytest.mark.parametrize(
    "address",
    [
        "https://example.org/pixel.png",
        "http://127.0.0.1/pixel.png",
        "ftp://example.org/pixel.png",
        "file:///etc/passwd",
        (settings.BASE_DIR / "fitting" / "settings.py").as_uri(),
        f"{STATIC_DIR.as_uri()}/../fitting/settings.py",
        f"{STATIC_DIR.as_uri()}/%2e%2e/fitting/settings.py",
        f"file://example.org{STATIC_DIR}/sheet.css",
        f"{STATIC_DIR.as_uri()}-elsewhere/sheet.css",
    ],
)
def test_an_address_that_is_not_our_own_stops_the_sheet(address):
    with pytest.raises(ForeignAddressError):
        OwnFilesOnly().fetch(address)
    with pytest.raises(ForeignAddressError):
        HTML(string=f'<img alt="x" src="{address}">', url_fetcher=OwnFilesOnly()).write_pdf()


def test_our_own_static_files_and_data_addresses_open():
    assert OwnFilesOnly().fetch((STATIC_DIR / "sheet.css").as_uri()).read() == (STATIC_DIR / "sheet.css").read_bytes()
    assert OwnFilesOnly().fetch("data:text/plain,door").read() == b"door"


def test_every_paper_a_clinic_can_choose_has_a_page_size():
    assert set(PAGE_SIZES) == set(Clinic.Paper)
