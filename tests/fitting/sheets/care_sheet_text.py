"""A care sheet in tests: its words, its file, its sentences."""

import io
import re
from html.parser import HTMLParser

from pypdf import PdfReader

from fitting.models import Forecast, Sleeve, SleeveDesign
from fitting.sheets.care_sheet import TEMPLATE, care_sheet, print_care_sheet
from fitting.sheets.render import sheet_html
from fitting.sheets.wear_plan import Wearer
from tests.factories import (
    TODAY,
    make_child,
    make_clinic,
    make_limb,
    make_socket,
    make_visit,
    noon,
)

State, Next = Forecast.State, Forecast.NextAction
PHONE, OUT_OF_HOURS = "555 0100", "555 0199"
READING_GRADE = 6  # patient sheets at or below 5th to 6th grade, Am Fam Physician 2015;92:118
LONGEST_SENTENCE = 18  # words; common practice for plain language
TRADE_WORDS = ["transradial", "girth", "station", "forecast", "refit", "residual", "stump", "doff", "electrode", "tem"]
WEAR_STEPS, LEAVE_OFF = "step by step", "Leave the arm off. Do not put it on."
UNTIL_SAID = "Leave the arm off until your prosthetist says so."
TOO_SMALL = (
    "The arm may already be too small. Do not start or go on wearing it until we have looked at it. Call us now."
)
BLOCKS = {"p", "li", "h1", "h2", "h3", "td", "th", "dt", "dd"}


def care_limb():
    """A limb with a socket fitted on the day of printing."""
    clinic = make_clinic("Millbrook", phone=PHONE, out_of_hours_phone=OUT_OF_HOURS, time_zone="America/Chicago")
    limb = make_limb(make_child(clinic, given_name="Wren"))
    make_socket(make_visit(limb.child), limb, {60: 180})
    return limb


def html_of(limb, wearer=Wearer.NEW, as_of=TODAY, paper="A4"):
    return sheet_html(TEMPLATE, care_sheet(limb, noon(as_of), wearer), paper)


def pdf_of(limb, paper="A4", language="en", wearer=Wearer.NEW):
    return print_care_sheet(limb, noon(TODAY), paper, language, wearer)


def text_of(pdf):
    return " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())


def magnets(limb, count=4, **fields):
    design, _made = SleeveDesign.objects.get_or_create(name="Kite")
    sizes = {"length_mm": 180, "girth_proximal_mm": 180, "girth_distal_mm": 140, "made_on": TODAY}
    return Sleeve.objects.create(limb=limb, design=design, magnets=count, **{**sizes, **fields})


class Sentences(HTMLParser):
    """Text of every block as sentences; a block that ends without a mark counts as one sentence of its own."""

    def __init__(self):
        super().__init__()
        self.blocks, self._open = [], []

    def handle_starttag(self, tag, attrs):
        if tag in BLOCKS:
            self._open.append("")

    def handle_endtag(self, tag):
        if tag in BLOCKS:
            text = " ".join(self._open.pop().replace("☐", "").split())
            if re.search(r"[a-zA-Z]", text):
                self.blocks.append(text if text[-1] in ".!?”" else f"{text}.")

    def handle_data(self, data):
        if self._open:
            self._open[-1] += data


def blocks_of(html):
    parser = Sentences()
    parser.feed(html)
    return parser.blocks
